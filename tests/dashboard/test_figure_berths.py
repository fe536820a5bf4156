"""The calendar of a berth plan: what it draws, from hand-made input."""

from __future__ import annotations

import json
from datetime import date, timedelta
from itertools import pairwise
from typing import Any

import pytest

from dashboard.figures.berths import LINE_HEIGHT, Calendar, Kind, Stay, draw_berths
from dashboard.sections.berths import in_runs

MONDAY = date(2026, 1, 5)
DAY_MS = 24 * 60 * 60 * 1000
KINDS = [Kind("by forecast"), Kind("by a rule", " *")]
WEEKDAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def calendar(
    weeks: int, berths: tuple[str, ...] = ("Pit 1", "Pit <2>"), closed: Any = ()
) -> Calendar:
    last = MONDAY + timedelta(days=7 * weeks - 1)
    return Calendar(berths, MONDAY, last, closed, "closed", WEEKDAYS, MONTHS)


def stay(first: int, last: int, *, kind: int = 0, berth: str = "Pit 1", name: str = "A-1") -> Stay:
    begin, end = (MONDAY + timedelta(days=number) for number in (first, last))
    return Stay(berth, begin, end, kind, name, f"{name} <{begin}>")


def bars(figure: Any, name: str) -> list[Any]:
    return [one for one in figure["data"] if one["name"] == name and one["y"]]


def test_visit_is_a_bar_from_its_first_day_to_the_end_of_its_last() -> None:
    figure = draw_berths([stay(2, 4, kind=1, berth="Pit <2>")], KINDS, calendar(2))
    (drawn,) = bars(figure, "* by a rule")
    assert (drawn["base"], drawn["x"]) == (["2026-01-07"], [3 * DAY_MS])
    assert drawn["y"] == ["Pit &lt;2>"]
    assert drawn["text"] == ["A-1 *"]  # colour never speaks alone
    assert drawn["customdata"] == ["A-1 &lt;2026-01-07>"]
    assert figure["layout"]["yaxis"]["categoryarray"] == ["Pit &lt;2>", "Pit 1"]  # from below
    json.dumps(figure, allow_nan=False)


def test_first_day_stands_at_the_left_and_every_day_has_its_name() -> None:
    axis = draw_berths([], KINDS, calendar(2))["layout"]["xaxis"]
    assert axis["range"] == ["2026-01-05", "2026-01-19"]
    assert axis["ticktext"][0] == "Mon<br>5 Jan"
    assert axis["tickvals"][0] == "2026-01-05T12:00"
    assert len(axis["ticktext"]) == 14


def test_visit_over_the_end_of_a_band_goes_on_in_the_next_with_its_name() -> None:
    figure = draw_berths([stay(12, 15)], KINDS, calendar(4))
    first, second = bars(figure, "by forecast")
    assert (first["base"], first["x"], first["xaxis"]) == (["2026-01-17"], [2 * DAY_MS], "x")
    assert (second["base"], second["x"], second["xaxis"]) == (["2026-01-19"], [2 * DAY_MS], "x2")
    assert first["text"] == second["text"] == ["A-1"]
    assert [first["showlegend"], second["showlegend"]] == [True, False]


def test_closed_days_are_shaded_under_the_visits() -> None:
    shut = [("Pit 1", MONDAY + timedelta(days=5), MONDAY + timedelta(days=6))]
    figure = draw_berths([stay(4, 7)], KINDS, calendar(2, closed=shut))
    (closed,) = bars(figure, "closed")
    assert (closed["base"], closed["x"]) == (["2026-01-10"], [2 * DAY_MS])
    assert figure["data"].index(closed) < figure["data"].index(bars(figure, "by forecast")[0])


@pytest.mark.parametrize(("weeks", "berths"), [(1, 1), (8, 8), (9, 3), (26, 8)])
def test_many_weeks_and_berths_keep_their_height_and_do_not_overlap(
    weeks: int, berths: int
) -> None:
    names = tuple(f"Pit {number}" for number in range(berths))
    drawn = draw_berths([], KINDS, calendar(weeks, names))["layout"]
    bands = -(-weeks // 2)
    axes = [drawn["yaxis" if n == 0 else f"yaxis{n + 1}"] for n in range(bands)]
    assert f"yaxis{bands + 1}" not in drawn
    inside = drawn["height"] - drawn["margin"]["t"] - drawn["margin"]["b"]
    for axis in axes:
        low, high = axis["domain"]
        assert 0 <= low < high <= 1
        assert (high - low) * inside == pytest.approx(berths * LINE_HEIGHT)
    for above, below in pairwise(axes):
        # Between two bands the days of the lower one have their two lines of words.
        assert (above["domain"][0] - below["domain"][1]) * inside >= 40
    last = drawn["xaxis" if bands == 1 else f"xaxis{bands}"]
    assert len(last["ticktext"]) == (7 if weeks % 2 else 14)


@pytest.mark.parametrize(
    ("numbers", "told"),
    [("1, 2, 3, 4", "1\u20134"), ("1, 2, 4, 5, 6", "1, 2, 4\u20136"), ("7", "7"), ("", "")],
)
def test_positions_that_follow_on_each_other_are_told_as_a_run(numbers: str, told: str) -> None:
    assert in_runs(numbers) == told
