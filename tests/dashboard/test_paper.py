"""Probability paper: a law lies on a straight line of it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from dashboard.figures.paper import Plotted, draw_paper

AGES = [100.0, 300.0, 1_000.0, 2_500.0, 6_000.0]


@pytest.mark.parametrize(
    ("normal", "law"),
    [
        (False, stats.weibull_min(1.8, scale=2_000.0)),
        (True, stats.lognorm(0.7, scale=2_000.0)),
    ],
)
def test_law_is_a_straight_line_in_log_age(normal: bool, law: stats.rv_continuous) -> None:
    shares = [float(share) for share in law.sf(AGES)]
    figure = draw_paper(
        [Plotted("Alder", AGES, shares, shares)], normal=normal, age="Age", share="Failed"
    )
    points, line = figure["data"]
    slopes = np.diff(line["y"]) / np.diff(np.log(AGES))
    # Closed form: the slope is the shape on Weibull paper, 1 over sigma on lognormal paper.
    assert slopes == pytest.approx(1 / 0.7 if normal else 1.8, rel=1e-6)
    assert points["y"] == line["y"]
    assert figure["layout"]["xaxis"]["type"] == "log"


def test_ticks_name_shares_that_are_within_the_points() -> None:
    figure = draw_paper(
        [Plotted("", AGES, [0.95, 0.9, 0.7, 0.5, 0.2], [0.95, 0.9, 0.7, 0.5, 0.2])],
        normal=False,
        age="",
        share="",
    )
    axis = figure["layout"]["yaxis"]
    assert axis["ticktext"] == ["10\u00a0%", "25\u00a0%", "50\u00a0%", "75\u00a0%"]
    assert axis["tickvals"][2] == pytest.approx(math.log(math.log(2)))
    assert figure["layout"]["xaxis"]["tickvals"] == [100, 200, 500, 1_000, 2_000, 5_000]
