"""What the honesty campaign prints: one line a figure, and the cells in which one covers less."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from data_demo.bench.honesty_verdict import BAND, ERRORS, LEAST, LEVEL, SHARE, Coverage, Figure

_WIDTH = 32
_MOST_TOLD = 6
_VERDICTS = {"pass": "pass", "miss": "miss", "open": "too few runs to say"}


def print_table(figures: Iterable[Figure]) -> list[Figure]:
    """Print the table, how it was judged, and for what misses where it covers about how much.

    Each line is printed as its figure comes; all of them are returned.
    """
    print(
        f"{'figure':{_WIDTH}} {'runs':>5} {'cells':>5} {'of 10+':>6} {'lowest':>6} "
        f"{'highest':>7} {'within':>6} {'<' + format(LEAST, '.2f'):>5}  verdict"
    )
    done = []
    for figure in figures:
        print(_line(figure), flush=True)
        done.append(figure)
    print(
        f"\nRuns a cell (those with bounds, at most); cells with 10 or more failures expected "
        f"(of 10+) decide. Nominal {LEVEL:.2f}. Pass: {BAND[0]:.2f} to {BAND[1]:.2f} in "
        f"{SHARE:.0%} of them (+: exact bounds may hold more), none under {LEAST:.2f}. Miss: not "
        f"even when each cell is moved {ERRORS:g} Monte-Carlo errors in its favour."
    )
    for figure in done:
        _print_outside(figure)
    return done


def print_rates(
    discoveries: Mapping[str, Mapping[str, float]], alarms: Mapping[str, Any], *, setting: float
) -> None:
    """Print how often what stands out does so by chance, and how often warnings alarm falsely."""
    rates = [(one["false_discovery"], one["false_discovery_error"]) for one in discoveries.values()]
    worst = max(discoveries, key=lambda name: discoveries[name]["false_discovery"])
    clearly = sum(rate > setting + ERRORS * error for rate, error in rates)
    over = sum(rate > setting for rate, _ in rates)
    verdict = "miss" if clearly else "too few runs to say" if over else "pass"
    print(
        f"\nFalse discoveries among what stands out: at most {max(rates)[0]:.3f} ({worst}) where "
        f"{setting:.2f} is set; {over} of {len(rates)} cells above it: {verdict}."
    )
    promised = [cell for cell in alarms["cells"] if cell["promised"]]
    held = sum(cell["held"] for cell in promised)
    shares = [cell["share"] for cell in promised]
    print(
        f"False alarms of warnings: {min(shares):.2f} to {max(shares):.2f} of the setting, "
        f"{alarms['pooled']:.2f} in all; 0.75 to 1.33 in {held} of {len(promised)} cells with "
        f"steady counts: {'pass' if held == len(promised) else 'miss'}."
    )
    for cell in alarms["cells"]:
        if not cell["promised"]:
            print(
                f"  not promised: {cell['share']:.2f} with {cell['events']:.0f} events, bursts "
                f"{cell['bursts']:g}, season {cell['season']:g}"
            )


def _line(figure: Figure) -> str:
    counted = figure.counted
    name = figure.name + ("+" if figure.exact else "")
    runs = max((found.runs for found in figure.cells), default=0)
    head = f"{name:{_WIDTH}} {runs:5} {len(figure.cells):5} {len(counted):6}"
    if not counted:
        return f"{head}  no cell to judge"
    shares = [found.coverage for found in counted]
    return (
        f"{head} {min(shares):6.3f} {max(shares):7.3f} {figure.within:6.0%} {figure.under:5}  "
        f"{_verdict(figure)}"
    )


def _verdict(figure: Figure) -> str:
    wide = figure.verdict == "miss" and figure.only_wide
    return "miss, wider than needed" if wide else _VERDICTS[figure.verdict]


def _print_outside(figure: Figure) -> None:
    outside = figure.outside
    if figure.verdict == "pass" or not outside:
        return
    print(f"\n{figure.name}")
    for found in outside[:_MOST_TOLD]:
        print(f"  {_told(found)}")
    if len(outside) > _MOST_TOLD:
        rest = [found.coverage for found in outside[_MOST_TOLD:]]
        print(f"  and {len(rest)} more cells, {min(rest):.2f} to {max(rest):.2f}")


def _told(found: Coverage) -> str:
    return f"covers about {found.coverage:.2f} (+-{ERRORS * found.error:.2f}): {found.cell.name}"
