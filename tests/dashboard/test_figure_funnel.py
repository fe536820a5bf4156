"""The funnel, read back from what is drawn."""

from __future__ import annotations

import math

from dashboard.figures.funnel import MOST_NAMED, Limit, Placed, draw_funnel

POINTS = [
    Placed("5A", 10.0, 2.5, "5A: 2.5 times", marked=True),
    Placed("6B", 40.0, 0.9, "6B: 0.9 times"),
    Placed("7C", 90.0, 1.1, "7C: 1.1 times"),
]
LIMITS = [
    Limit("95 %", [10.0, 40.0, 90.0], lower=[0.4, 0.7, 0.8], upper=[1.7, 1.3, 1.2]),
    Limit("99.8 %", [10.0, 40.0, 90.0], lower=[0.2, 0.5, 0.7], upper=[2.1, 1.5, 1.3]),
]


def drawn(points: list[Placed], limits: list[Limit]) -> dict[str, dict[str, object]]:
    figure: dict[str, dict[str, object]] = draw_funnel(
        points, limits, expected="Expected", ratio="Ratio"
    )
    return figure


def test_each_limit_is_a_pair_of_lines_with_one_word_in_the_legend() -> None:
    lines = [trace for trace in drawn(POINTS, LIMITS)["data"] if trace["mode"] == "lines"]
    assert [line["y"] for line in lines] == [
        LIMITS[0].upper, LIMITS[0].lower, LIMITS[1].upper, LIMITS[1].lower,
    ]  # fmt: skip
    assert [line.get("showlegend", True) for line in lines] == [True, False, True, False]
    assert len({line["line"]["dash"] for line in lines}) == 2  # told apart without colour


def test_what_is_marked_has_its_name_and_another_shape() -> None:
    points = [trace for trace in drawn(POINTS, LIMITS)["data"] if "markers" in trace["mode"]]
    assert [(trace["x"], trace["y"]) for trace in points] == [
        ([40.0, 90.0], [0.9, 1.1]), ([10.0], [2.5]),
    ]  # fmt: skip
    assert [trace["mode"] for trace in points] == ["markers", "markers+text"]
    assert points[0]["marker"]["symbol"] != points[1]["marker"]["symbol"]
    assert points[1]["hovertemplate"] == ["5A: 2.5 times<extra></extra>"]


def test_many_marked_have_no_names_beside_them() -> None:
    many = [Placed(str(n), 10.0 + n, 3.0, "", marked=True) for n in range(MOST_NAMED + 1)]
    (points,) = drawn(many, [])["data"]
    assert points["mode"] == "markers"


def test_counts_stand_on_a_logarithmic_scale_with_round_ticks_and_room() -> None:
    axis = drawn(POINTS, LIMITS)["layout"]["xaxis"]
    assert axis["type"] == "log"
    assert axis["tickvals"] == [10.0, 20.0, 50.0, 100.0]
    assert 10 ** axis["range"][0] < 10.0
    assert 10 ** axis["range"][1] > 90.0
    assert math.isfinite(drawn([], [])["layout"]["xaxis"]["range"][0])
