"""Many tests at once: adjusted p-values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.multiple import benjamini_hochberg

# Benjamini & Hochberg (1995), Journal of the Royal Statistical Society B 57, section 4.1 (numbers
# from memory): fifteen comparisons of two treatments; at 0.05 the four smallest are rejected.
TREATMENTS = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
    0.6528, 0.7590, 1.0000,
]  # fmt: skip


def test_published_comparison_rejects_the_four_smallest() -> None:
    assert list(benjamini_hochberg(TREATMENTS) <= 0.05) == [True] * 4 + [False] * 11


# Other software: scipy's own adjustment.
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_adjusted_values_agree_with_scipy(p: list[float]) -> None:
    assert benjamini_hochberg(p) == pytest.approx(stats.false_discovery_control(p), abs=1e-12)


def test_tests_not_made_do_not_count() -> None:
    found = benjamini_hochberg([0.01, np.nan, 0.02])
    assert found[[0, 2]] == pytest.approx(stats.false_discovery_control([0.01, 0.02]))
    assert np.isnan(found[1])
    assert benjamini_hochberg([]).size == 0


def test_a_value_that_is_no_probability_is_refused() -> None:
    with pytest.raises(EstimateError, match="between 0 and 1"):
        benjamini_hochberg([0.2, 1.2])
