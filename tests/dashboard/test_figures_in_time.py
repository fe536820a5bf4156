"""Figures of events, ranked groups and values in time: what they draw, from hand-made input."""

from __future__ import annotations

import json
import math
from datetime import datetime, timedelta

from dashboard.figures.events import Event, draw_events
from dashboard.figures.panels import MOST_POINTS, Limit, Panel, draw_panels
from dashboard.figures.ranked import MOST_NAMED, Ranked, draw_ranked

DAY = datetime(2025, 3, 1, 6, 30)


def test_events_stand_on_their_line_with_a_look_for_each_kind() -> None:
    events = [
        Event("Brakes", DAY, 0, "brake block, worn"),
        Event("Cooling", DAY, 1, "hose <leaking>"),
        Event("Cooling", DAY + timedelta(days=2), 1, "hose, loose"),
    ]
    figure = draw_events(events, lines=["Brakes", "Cooling"], kinds=["remark", "withholds"])
    first, second = figure["data"]
    assert (first["x"], first["y"]) == (["2025-03-01T06:30:00"], ["Brakes"])
    assert second["y"] == ["Cooling", "Cooling"]
    assert first["marker"]["symbol"] != second["marker"]["symbol"]  # colour never speaks alone
    assert "&lt;leaking>" in second["text"][0]
    assert figure["layout"]["yaxis"]["categoryarray"] == ["Cooling", "Brakes"]  # drawn from below
    assert figure["layout"]["showlegend"]
    json.dumps(figure, allow_nan=False)


def test_one_kind_of_events_needs_no_legend() -> None:
    figure = draw_events([], lines=[], kinds=["found"])
    assert not figure["layout"]["showlegend"]
    assert figure["data"][0]["x"] == []


def test_marked_group_is_named_and_drawn_over_the_others() -> None:
    rows = [
        Ranked("A-1", 1.0, 0.5, 2.0, "A-1: 1"),
        Ranked("A-2", 3.0, 2.0, math.nan, "A-2: 3", marked=True),
    ]
    figure = draw_ranked(rows, title="Failures", all_of_them=1.5, said="all: 1.5")
    others, marked = figure["data"]
    assert (others["x"], others["error_y"]["array"]) == ([0], [1.0])
    assert (marked["x"], marked["text"], marked["mode"]) == ([1], ["A-2"], "markers+text")
    assert marked["error_y"]["array"] == [0.0]  # no upper bound is known
    assert marked["error_y"]["arrayminus"] == [1.0]
    assert figure["layout"]["shapes"][0]["y0"] == 1.5
    assert figure["layout"]["xaxis"]["ticktext"] == ["A-1", "A-2"]
    json.dumps(figure, allow_nan=False)


def test_more_groups_than_can_be_named_have_no_names_below() -> None:
    rows = [Ranked(f"L-{n}", float(n), n - 0.5, n + 0.5, "") for n in range(MOST_NAMED + 1)]
    axis = draw_ranked(rows, title="", all_of_them=1.0, said="")["layout"]["xaxis"]
    assert axis["showticklabels"] is False
    assert "ticktext" not in axis


def test_panels_share_time_and_carry_their_own_limits() -> None:
    days = [DAY + timedelta(days=n) for n in range(3)]
    pressure = Panel("Pressure (bar)", days, [1.0, 1.1, 1.3], ["idle"] * 3, [Limit(1.2, "attend")])
    hours = Panel("Counter", days, [10.0, 20.0, 30.0], [""] * 3)
    figure = draw_panels([pressure, hours])
    layout = figure["layout"]
    assert [trace["yaxis"] for trace in figure["data"]] == ["y", "y2"]
    assert layout["yaxis"]["domain"][0] > layout["yaxis2"]["domain"][1]  # the first is on top
    assert layout["xaxis"]["anchor"] == "y2"
    (limit,) = layout["shapes"]
    assert (limit["yref"], limit["y0"]) == ("y", 1.2)
    assert [note["text"] for note in layout["annotations"]] == [
        "Pressure (bar)",
        "attend",
        "Counter",
    ]
    json.dumps(figure, allow_nan=False)


def test_running_states_of_one_panel_are_told_apart() -> None:
    panel = Panel("Pressure", [DAY, DAY], [1.0, 2.0], ["idle", "rated"], joined=False)
    idle, rated = draw_panels([panel])["data"]
    assert (idle["y"], rated["y"]) == ([1.0], [2.0])
    assert idle["marker"]["color"] != rated["marker"]["color"]
    assert idle["hovertemplate"].startswith("idle: ")


def test_long_series_are_thinned_to_what_a_panel_can_show() -> None:
    many = [DAY + timedelta(hours=n) for n in range(5 * MOST_POINTS)]
    (line,) = draw_panels([Panel("", many, [1.0] * len(many), [""] * len(many))])["data"]
    assert len(line["x"]) == MOST_POINTS
