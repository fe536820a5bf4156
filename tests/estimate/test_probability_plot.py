"""Points on probability paper. Oracle: the laws' closed forms, by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.probability_plot import PAPERS, on_paper, plot_points


@pytest.mark.parametrize("model", PAPERS)
def test_a_law_is_a_line_on_its_paper_with_its_own_slope(model: str) -> None:
    """Meeker & Escobar (1998), section 6.2: slope shape, 1 / sigma, or the rate."""
    age = np.array([50.0, 100.0, 200.0, 400.0])
    laws = {
        "weibull": (np.exp(-((age / 150) ** 1.7)), 1.7),
        "lognormal": (stats.norm.sf((np.log(age) - 5.0) / 0.8), 1 / 0.8),
        "exponential": (np.exp(-age / 150), 1 / 150),
    }
    survival, slope = laws[model]
    x, y = on_paper(model, age, survival)
    assert np.diff(y) / np.diff(x) == pytest.approx([slope] * 3)


def test_points_lie_halfway_and_distances_are_by_hand() -> None:
    curve = [1.0, 0.8, 0.4], [1.0, 0.6, 0.2], [1.0, 0.95, 0.6]
    found = plot_points("weibull", [0.0, 10.0, 20.0], curve, [1.0, 0.9, 0.7])
    assert found.survival == pytest.approx([0.9, 0.6])
    assert found.x[0] == pytest.approx(math.log(10))
    assert found.y[1] == pytest.approx(math.log(-math.log(0.6)))
    # at 20 the law has 0.7, the curve falls from 0.8 to 0.4; its bounds end at 0.6
    assert found.furthest == pytest.approx(0.3)
    assert found.outside == 1


def test_a_curve_that_begins_late_is_drawn_from_the_law() -> None:
    curve = [1.0, 0.5], [1.0, 0.2], [1.0, 0.8]
    found = plot_points("exponential", [10.0, 20.0], curve, [0.6, 0.3])
    assert found.survival == pytest.approx([0.6 * 0.75])
    assert found.outside == 0
    assert found.furthest == pytest.approx(0.3)


def test_nothing_to_draw() -> None:
    found = plot_points("weibull", [0.0], ([1.0], [0.9], [1.0]), [1.0])
    assert found.age.size == 0
    assert math.isnan(found.furthest)
    x, y = on_paper("weibull", [0.0, 5.0], [1.0, 0.0])
    assert np.isnan(y).all()
    assert np.isnan(x[0])
    with pytest.raises(EstimateError, match="paper for weibull"):
        on_paper("gamma", [1.0], [0.5])
