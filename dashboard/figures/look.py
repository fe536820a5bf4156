"""How every figure looks: one palette, one plain layout, one way to fade a colour.

Figures are plain dicts in Plotly's schema (building graph objects costs a hundred times more) and
SVG only. They carry the light look, which downloads and print use; on a dark page the style sheet
repaints text, grid, axes and series (`assets/figures.css`): `PALETTE[n]` as `DARK_PALETTE[n]`,
named `--series-n` there. Value labels have the colour of their series, so each must stand out from
its page as text does. A series also differs by dash and marker: colour never speaks alone.
"""

from __future__ import annotations

import math
from typing import Any

Figure = dict[str, Any]

LIGHT_PAGE, DARK_PAGE = "#fbfaf7", "#15181b"
INK, RULE = "#1f2428", "#dcd9d2"
PALETTE = (
    "#1f69a3", "#b5521a", "#177a5e", "#94509f", "#7f690f", "#bd3a62", "#1c7388", "#666f78",
)  # fmt: skip
DARK_PALETTE = (
    "#6db3ea", "#f0975a", "#4ec7a2", "#cf9ae0", "#d3b945", "#f088a6", "#5fc4dc", "#aab3bc",
)  # fmt: skip
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "10px,3px", "3px,6px")
MARKERS = (
    "circle", "square", "diamond", "triangle-up", "cross", "star", "hexagon", "triangle-down",
)  # fmt: skip
MOST_SERIES = len(PALETTE)
THIN_SPACE = "\u202f"


def layout(*, height: int, **parts: Any) -> Figure:
    """Return the layout that all figures share, with the parts of one put in."""
    return {
        "height": height,
        "font": {"family": "system-ui, 'DejaVu Sans', sans-serif", "size": 14, "color": INK},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 8, "r": 20, "t": 16, "b": 56},
        "separators": f".{THIN_SPACE}",
        "hovermode": "closest",
        "dragmode": False,
        "showlegend": False,
        "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"},
        **parts,
    }


def axis(title: str = "", **parts: Any) -> Figure:
    """Return one axis: thin rule, quiet grid, ticks outside."""
    return {
        "title": {"text": title, "standoff": 12, "font": {"size": 14}},
        "automargin": True,
        "gridcolor": RULE,
        "linecolor": INK,
        "zeroline": False,
        "tickfont": {"size": 13},
        "fixedrange": True,
        **parts,
    }


def faded(colour: str, strength: float = 0.16) -> str:
    """Return a colour of the palette as a see-through fill."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},{strength})"


def plain(text: str) -> str:
    """Return a text from the record so that Plotly does not read it as markup."""
    return text.replace("&", "&amp;").replace("<", "&lt;")


def share_ticks(most: float) -> Figure:
    """Return the ticks of an axis of shares from 0 up to `most`, written in per cent."""
    ticks = nice_ticks(100 * most, about=5)
    return {
        "tickvals": [tick / 100 for tick in ticks],
        "ticktext": [f"{tick:g}\u00a0%" for tick in ticks],
    }


def nice_ticks(most: float, about: int = 6) -> list[float]:
    """Return round tick values from 0 up to `most` (a positive number), about so many."""
    if not most > 0:
        return [0.0]
    raw = most / about
    size = 10.0 ** (len(str(int(raw))) - 1) if raw >= 1 else 10.0 ** (-len(str(int(1 / raw))))
    step = next(size * by for by in (1, 2, 2.5, 5, 10, 20, 50, 100) if size * by >= raw)
    return [step * n for n in range(int(most / step + 1e-9) + 1)]


def round_steps(least: float, most: float) -> list[float]:
    """Return the ticks of a logarithmic axis: round numbers between two above 0."""
    powers = range(math.floor(math.log10(least)), math.ceil(math.log10(most)) + 1)
    ticks = (step * 10.0**power for power in powers for step in (1, 2, 5))
    return [tick for tick in ticks if least <= tick <= most]
