from __future__ import annotations

import json
from datetime import date
from pathlib import Path

import numpy as np
import plotly.graph_objects as go
import pytest
from hypothesis import given
from hypothesis import strategies as st

import dashboard
from dashboard.figures.curves import MOST_POINTS, Curve, CurveAxes, draw_curves, number_at_risk
from dashboard.figures.intervals import Interval, draw_intervals
from dashboard.figures.look import (
    DARK_PAGE,
    DARK_PALETTE,
    DASHES,
    INK,
    LIGHT_PAGE,
    MARKERS,
    MOST_SERIES,
    PALETTE,
    Figure,
    nice_ticks,
    share_ticks,
)
from dashboard.figures.months import STRENGTH, Month, draw_months

AXES = CurveAxes(age="Age", value="Share", at_risk="At risk", share=True)
NAN = float("nan")
DARK_INK = "#e6e3dc"
ASSETS = Path(dashboard.__file__).parent / "assets"


def make_curve(label: str = "Alder", *, points: int = 5) -> Curve:
    age = np.linspace(0, 100, points)
    value = np.linspace(1, 0.2, points)
    return Curve(label, age, value, value - 0.1, value + 0.1, np.arange(points, 0, -1.0))


def make_interval(label: str = "Alder", *, value: float = 50.0, upper: float = 60.0) -> Interval:
    return Interval(label, "3 failures", value, 40.0, upper, "50", "50 h")


def assert_drawable(figure: Figure) -> None:
    """Plotly knows every property, and the figure travels as strict JSON."""
    go.Figure(figure)
    json.dumps(figure, allow_nan=False)


def lines_of(figure: Figure) -> list[Figure]:
    return [trace for trace in figure["data"] if trace["mode"] == "lines" and "name" in trace]


def test_curves_are_steps_with_bands() -> None:
    figure = draw_curves([make_curve(), make_curve("Birch")], axes=AXES)
    assert_drawable(figure)
    drawn = [trace for trace in figure["data"] if trace["mode"] == "lines"]
    assert {trace["line"]["shape"] for trace in drawn} == {"hv"}
    assert [line["name"] for line in lines_of(figure)] == ["Alder", "Birch"]
    assert sum(trace.get("fill") == "tonexty" for trace in figure["data"]) == 2
    assert all(trace["hoverinfo"] == "skip" for trace in figure["data"] if "fill" in trace)


def test_curves_differ_by_dash_as_well_as_colour() -> None:
    figure = draw_curves([make_curve(str(n)) for n in range(MOST_SERIES)], axes=AXES)
    looks = {(line["line"]["dash"], line["line"]["color"]) for line in lines_of(figure)}
    assert len({dash for dash, _ in looks}) == len({colour for _, colour in looks}) == MOST_SERIES


def test_no_more_than_eight_curves_are_drawn() -> None:
    figure = draw_curves([make_curve(str(n)) for n in range(12)], axes=AXES)
    assert len(lines_of(figure)) == MOST_SERIES == 8


def test_number_at_risk_stands_at_the_ticks() -> None:
    figure = draw_curves([make_curve()], axes=AXES)
    strip = figure["data"][-1]
    assert strip["yaxis"] == "y2"
    assert strip["x"] == figure["layout"]["xaxis"]["tickvals"] == [0, 20, 40, 60, 80, 100]
    # By hand: ages 0, 25, 50, 75, 100 with 5, 4, 3, 2, 1 at risk just before each.
    assert strip["text"] == ["5", "4", "3", "2", "1", "1"]


def test_number_at_risk_beyond_the_curve_is_unknown() -> None:
    assert number_at_risk(make_curve(), 100.0) == 1
    assert number_at_risk(make_curve(), 100.1) is None


def test_curve_without_bounds_has_no_band() -> None:
    bare = make_curve()
    curve = Curve("Alder", bare.age, bare.value, bare.lower * NAN, bare.upper * NAN, bare.at_risk)
    figure = draw_curves([curve], axes=AXES)
    assert_drawable(figure)
    assert not any("fill" in trace for trace in figure["data"])


def test_long_curve_is_thinned_but_keeps_both_ends() -> None:
    curve = make_curve(points=5_000)
    line = lines_of(draw_curves([curve], axes=AXES))[0]
    assert len(line["x"]) == MOST_POINTS
    assert (line["x"][0], line["x"][-1]) == (0.0, 100.0)


def test_no_curve_gives_an_empty_drawable_figure() -> None:
    nothing = np.zeros(0)
    assert_drawable(draw_curves([], axes=AXES))
    assert_drawable(
        draw_curves([Curve("A", nothing, nothing, nothing, nothing, nothing)], axes=AXES)
    )


def test_interval_with_bounds_is_a_point_with_whiskers() -> None:
    figure = draw_intervals([make_interval()], title="Hours")
    assert_drawable(figure)
    (trace,) = figure["data"]
    assert trace["x"] == [50.0]
    assert trace["error_x"]["array"] == [10.0]
    assert trace["error_x"]["arrayminus"] == [10.0]


def test_interval_without_failures_opens_to_the_right() -> None:
    rows = [make_interval(), make_interval("Birch", value=NAN, upper=NAN)]
    figure = draw_intervals(rows, title="Hours")
    assert_drawable(figure)
    open_one = figure["data"][1]
    assert open_one["x"] == [40.0]
    assert 40.0 + open_one["error_x"]["array"][0] == pytest.approx(
        figure["layout"]["xaxis"]["range"][1]
    )
    assert open_one["error_x"]["width"] == 0


def test_shares_never_reach_beyond_one() -> None:
    row = Interval("A", "", 0.9, 0.8, 0.99, "90 %", "90 %")
    assert draw_intervals([row], title="Share", percent=True)["layout"]["xaxis"]["range"] == [0, 1]


def test_markup_in_a_name_stays_text() -> None:
    figure = draw_intervals([make_interval("<b>A</b>")], title="Hours")
    assert figure["data"][0]["y"] == ["&lt;b>A&lt;/b><br>3 failures"]


def test_month_without_use_is_a_gap() -> None:
    months = [
        Month(date(2026, 1, 1), 0.5, 0.2, 0.9, "Jan"),
        Month(date(2026, 2, 1), NAN, NAN, NAN, "Feb"),
        Month(date(2026, 3, 1), 0.0, 0.0, 0.3, "Mar"),
    ]
    figure = draw_months(months, title="Rate")
    assert_drawable(figure)
    assert figure["data"][0]["x"] == ["2026-01-01", "2026-03-01"]


@pytest.mark.parametrize(
    ("count", "named"),
    [
        (1, ["2025-11-01"]),
        (3, ["2025-11-01", "2025-12-01", "2026-01-01"]),
        (14, ["2026-01-01", "2026-04-01", "2026-07-01", "2026-10-01"]),
    ],
)
def test_ticks_stand_at_months_that_are_there(count: int, named: list[str]) -> None:
    # Counted off by hand: all of up to six months, else the first of each quarter, half-year, year.
    days = [date(2025 + (10 + n) // 12, (10 + n) % 12 + 1, 1) for n in range(count)]
    figure = draw_months([Month(day, 0.5, 0.2, 0.9, "") for day in days], title="Rate")
    assert_drawable(figure)
    assert figure["layout"]["xaxis"]["tickvals"] == named
    first, last = figure["layout"]["xaxis"]["range"]
    assert first < days[0].isoformat() <= days[-1].isoformat() < last


def test_curve_without_a_step_is_a_flat_line_as_far_as_is_known() -> None:
    one = np.ones(1)
    curve = Curve("Alder", one * 0, one, one * NAN, one * NAN, one * 2, until=250.0)
    figure = draw_curves([curve], axes=AXES)
    assert_drawable(figure)
    assert (lines_of(figure)[0]["x"], lines_of(figure)[0]["y"]) == ([0, 250], [1, 1])
    assert figure["layout"]["xaxis"]["range"][1] >= 250


def test_curve_of_a_single_age_is_a_point() -> None:
    one = np.ones(1)
    figure = draw_curves([Curve("Alder", one * 0, one, one, one, one * 2)], axes=AXES)
    assert_drawable(figure)
    assert [t["mode"] for t in figure["data"] if "name" in t] == ["markers"]


@given(most=st.floats(1e-6, 1e9))
def test_ticks_are_round_few_and_within_reach(most: float) -> None:
    ticks = nice_ticks(most)
    assert 3 <= len(ticks) <= 9
    assert ticks[0] == 0
    assert ticks[-1] <= most * (1 + 1e-6)
    digits = f"{ticks[1]:.6e}".split("e")[0].rstrip("0").replace(".", "")
    assert digits in {"1", "2", "25", "5"}


def test_share_ticks_are_in_per_cent() -> None:
    assert share_ticks(1.0)["ticktext"] == [f"{n}\u00a0%" for n in (0, 20, 40, 60, 80, 100)]


LOOKS = [(PALETTE, LIGHT_PAGE, INK), (DARK_PALETTE, DARK_PAGE, DARK_INK)]


@pytest.mark.parametrize(("palette", "page", "_ink"), LOOKS)
def test_every_label_in_a_series_colour_stands_out(
    palette: tuple[str, ...], page: str, _ink: str
) -> None:
    # WCAG 2.2, success criterion 1.4.3: text needs a contrast of 4.5 to 1; 1.4.11 asks 3 of marks.
    assert min(contrast(colour, page) for colour in palette) >= 4.5


@pytest.mark.parametrize(("palette", "page", "ink"), LOOKS)
def test_bars_stand_out_and_so_does_the_line_on_them(
    palette: tuple[str, ...], page: str, ink: str
) -> None:
    # WCAG 2.2, success criterion 1.4.11: graphics need a contrast of 3 to 1.
    bar = blend(palette[0], page, STRENGTH)
    assert contrast(bar, page) >= 3
    assert contrast(ink, bar) >= 3
    assert contrast(ink, page) >= 3


def test_style_sheet_repaints_every_series_on_a_dark_page() -> None:
    sheet = (ASSETS / "figures.css").read_text(encoding="utf-8")
    for number, (light, dark) in enumerate(zip(PALETTE, DARK_PALETTE, strict=True)):
        assert f"--series-{number}: {dark};" in sheet
        for painted in ("stroke", "fill"):
            rule = f'[style*="{painted}: rgb({", ".join(map(str, parts_of(light)))})"]'
            assert f"{rule} {{ {painted}: var(--series-{number}) !important; }}" in sheet
    base = (ASSETS / "base.css").read_text(encoding="utf-8")
    assert f"--paper: {DARK_PAGE}; --ink: {DARK_INK};" in base
    assert f"--paper: {LIGHT_PAGE}; --ink: {INK};" in base


def test_there_is_a_dash_and_a_marker_for_every_colour() -> None:
    assert len(set(DASHES)) == len(set(MARKERS)) == len(set(PALETTE)) == MOST_SERIES


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def blend(colour: str, page: str, strength: float) -> str:
    """A see-through colour on a page, as a browser composes it (CSS Color 4, section 12)."""
    pairs = zip(parts_of(colour), parts_of(page), strict=True)
    return "#" + "".join(f"{round(a * strength + b * (1 - strength)):02x}" for a, b in pairs)


def parts_of(colour: str) -> list[int]:
    return [int(colour[at : at + 2], 16) for at in (1, 3, 5)]


def luminance(colour: str) -> float:
    """WCAG 2.2, definition of relative luminance."""
    parts = [part / 255 for part in parts_of(colour)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue
