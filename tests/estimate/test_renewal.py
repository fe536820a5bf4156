"""The renewal function against its closed form and published values.

Sources: Cox (1962), Renewal Theory, chapter 4: M(t) = t/2 - 1/4 + exp(-2t)/4 of a two-stage Erlang
life of rate 1 (from memory; values in tests/reference/renewal-function-erlang-2.json), M(t) = t of
an exponential life; Weibull values recomputed there by a second program.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray
from analytics.estimate.renewal import expected_renewals, renewal_function

REFERENCE = json.loads(
    (Path(__file__).parents[1] / "reference" / "renewal-function-erlang-2.json").read_text("utf-8")
)
WEIBULL = REFERENCE["recomputed"]["weibull_scale1_reference{shape:{t:M}}"]


def weibull(shape: float, scale: float = 1.0) -> Callable[[FloatArray], FloatArray]:
    return lambda age: -np.expm1(-((age / scale) ** shape))


def erlang(age: FloatArray) -> FloatArray:
    return 1 - np.exp(-age) * (1 + age)


@pytest.mark.parametrize(
    ("at", "expected"),
    list(
        zip(REFERENCE["data"]["t"], REFERENCE["published"]["M_closed_form"], strict=True)
    ),
)  # fmt: skip
def test_erlang_has_its_closed_form(at: float, expected: float) -> None:
    _, renewals = renewal_function(erlang, at)
    assert renewals[-1] == pytest.approx(expected, abs=REFERENCE["tolerance"]["default"])


@pytest.mark.parametrize(
    ("shape", "at", "expected"),
    [(float(s), float(t), m) for s, each in WEIBULL.items() for t, m in each.items()],
)
def test_weibull_agrees_with_the_reference(shape: float, at: float, expected: float) -> None:
    _, renewals = renewal_function(weibull(shape), at, steps=400)
    assert renewals[-1] == pytest.approx(expected, abs=REFERENCE["tolerance"]["default"])


def test_without_wear_age_does_not_matter() -> None:
    found = expected_renewals(weibull(1.0, 100.0), [0.0, 50.0, 400.0], [30.0, 30.0, 30.0])
    assert found == pytest.approx([0.3] * 3, abs=1e-4)


def test_new_part_has_the_renewal_function() -> None:
    _, renewals = renewal_function(weibull(2.5), 1.7)
    assert expected_renewals(weibull(2.5), [0.0], [1.7])[0] == pytest.approx(renewals[-1], abs=2e-3)


def test_used_part_agrees_with_simulation() -> None:
    rng, shape, age, use = np.random.default_rng(5), 2.5, 0.8, 2.0
    lives = (age**shape + rng.exponential(size=200_000)) ** (1 / shape) - age
    count = np.zeros(lives.size)
    at = lives
    while np.any(at <= use):
        count += at <= use
        at = at + rng.weibull(shape, size=at.size)
    found = expected_renewals(weibull(shape), [age], [use])[0]
    assert found == pytest.approx(count.mean(), abs=4 * count.std() / np.sqrt(count.size) + 1e-3)


def test_nothing_runs_nothing_is_renewed() -> None:
    assert expected_renewals(weibull(2.0), [1.0, 2.0], [0.0, 0.0]).tolist() == [0.0, 0.0]


def test_what_cannot_be_is_refused_in_a_sentence() -> None:
    with pytest.raises(EstimateError, match="above 0"):
        renewal_function(weibull(2.0), 0.0)
    with pytest.raises(EstimateError, match="not below 0"):
        expected_renewals(weibull(2.0), [-1.0], [1.0])
