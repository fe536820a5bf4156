"""Rates of return after a closing. Oracle: closed form by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.returns import return_chance, return_rates


def test_rates_are_returns_over_days_drawn_to_the_wider_kind() -> None:
    # One wider kind. Kind 0: 2 returns after 1 day, kind 1: 2 closings followed for 2 days. First
    # band (0-2 days): 2 returns in 1 + 1 + 2 + 2 = 6 days, usual rate 1/3.
    # Kind 0: (2 + 3) / (2 + 3 / (1/3)) = 5 / 11; kind 1: (0 + 3) / (4 + 9) = 3 / 13.
    found = return_rates([1, 1, 2, 2], [True, True, False, False], [0, 0, 1, 1], [0, 0])
    assert found.rate[:, 0] == pytest.approx([5 / 11, 3 / 13])


def test_chance_adds_up_the_bands_that_lie_ahead() -> None:
    found = return_rates([1, 1, 2, 2], [True, True, False, False], [0, 0, 1, 1], [0, 0])
    # held 1 day, 1 day ahead: within the first band
    assert return_chance(found, [0], [1.0], [1.0]) == pytest.approx([1 - np.exp(-5 / 11)])
    assert return_chance(found, [0], [1.0], [0.0]) == pytest.approx([0.0])
    over = return_chance(found, [1], [1.0], [2.0])[0]
    assert over == pytest.approx(1 - np.exp(-3 / 13 - found.rate[1, 1]))


def test_nothing_closed_yet_gives_no_rates() -> None:
    assert return_rates([], [], [], []).rate.shape[0] == 0
    with pytest.raises(EstimateError, match="differ in length"):
        return_rates([1.0], [], [0], [0])
