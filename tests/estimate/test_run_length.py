"""Run lengths of Poisson cumulative sums: a published value, closed forms, simulation."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.run_length import DOUBLING, alarm_limits, chain_cycles, cusum_cycles

REFERENCE = Path(__file__).parents[1] / "reference"


def test_published_run_length_of_lucas_is_met() -> None:
    """Lucas (1985), Technometrics 27, 129-144: k = 0.25, h = 10, mean 0.25, as the file says."""
    case = json.loads((REFERENCE / "lucas-1985-poisson-cusum-arl.json").read_text("utf-8"))
    data = case["data"]
    parts = data["m"]
    found = cusum_cycles(data["mu"], round(data["k"] * parts), parts, data["h"] * parts)
    assert found.run_length[0, -1] == pytest.approx(
        case["published"]["upper"], abs=case["tolerance"]["default"]
    )
    assert found.run_length[0, -1] == pytest.approx(case["recomputed"]["R_spc"][0], rel=1e-9)


def test_limit_of_one_part_alarms_at_the_first_count_above_k() -> None:
    """Closed form: one state only, so the run length is 1 / P(X > k), k = 1 and 0.5."""
    for reference, parts in ((1, 1), (1, 2)):
        found = cusum_cycles(0.7, reference, parts, 1)
        assert found.run_length[0, 0] == pytest.approx(
            1 / stats.poisson.sf(reference // parts, 0.7), rel=1e-12
        )
        assert found.steps[0, 0] == pytest.approx(1.0)


def test_two_states_by_hand() -> None:
    """k = 1, h = 2, states 0 and 1: from 0 to 1 with p2, from 1 to 0 with p0, stay with p1."""
    p0, p1, p2 = (float(stats.poisson.pmf(count, 0.8)) for count in range(3))
    chain = np.array([[p0 + p1, p2], [p0, p1]])
    by_hand = np.linalg.solve(np.eye(2) - chain, np.ones(2))[0]
    assert cusum_cycles(0.8, 1, 1, 2).run_length[0, 1] == pytest.approx(by_hand, rel=1e-12)


def whole_chain(reference: int, parts: int, most: int, law: Any) -> float:
    chain = np.zeros((most, most))
    for state in range(most):
        for count in range(80):
            to = max(0, state + parts * count - reference)
            if to < most:
                chain[state, to] += law.pmf(count)
    return float(np.linalg.solve(np.eye(most) - chain, np.ones(most))[0])


@pytest.mark.parametrize(
    ("mean", "reference", "parts", "most"),
    [(1.3, 13, 7, 30), (0.3, 3, 10, 12), (5.0, 29, 4, 20), (0.05, 1, 14, 60)],
)
def test_every_limit_at_once_equals_one_chain_each(
    mean: float, reference: int, parts: int, most: int
) -> None:
    """Brook & Evans (1972), section 2, solved directly for one limit."""
    found = cusum_cycles(mean, reference, parts, most + 25).run_length[0]
    for limit in (1, most // 2, most):
        direct = whole_chain(reference, parts, limit, stats.poisson(mean))
        assert found[limit - 1] == pytest.approx(direct, rel=1e-8)


def test_negative_binomial_steps_equal_the_whole_chain() -> None:
    mean, dispersion = 1.3, 1.8
    law = stats.nbinom(mean / (dispersion - 1), 1 / dispersion)
    found = cusum_cycles(mean, 13, 7, 40, dispersion=dispersion).run_length[0, -1]
    assert found == pytest.approx(whole_chain(13, 7, 40, law), rel=1e-8)


def test_run_length_agrees_with_a_long_simulation() -> None:
    """50,000 cycles by plain simulation; four standard errors of a geometric number of cycles."""
    random = np.random.default_rng(5)
    k, h, mean = 13 / 9, 4.0, 1.0
    now, alarms, steps = np.zeros(20_000), 0, 0
    for _ in range(600):
        now = np.maximum(0.0, now + random.poisson(mean, now.size) - k)
        over = now >= h - 1e-9
        alarms, steps = alarms + int(over.sum()), steps + now.size
        now[over] = 0.0
    expected = cusum_cycles(mean, 13, 9, 36).run_length[0, -1]
    assert steps / alarms == pytest.approx(expected, rel=4 / np.sqrt(alarms))


def test_well_known_rate_needs_the_limit_of_a_known_rate() -> None:
    """With 2,500 events the posterior is narrow: the chain at k itself is within 2 parts."""
    reference, parts = 8, 7
    mean = reference / parts * DOUBLING
    found = alarm_limits([mean], [2500.0], [1.0], steps=500)
    lengths = cusum_cycles(mean, reference, parts, 80).run_length[0]
    known = np.interp(np.log(500), np.log(lengths), (np.arange(80) + 0.5) / parts)
    assert found.h[0] == pytest.approx(known, abs=2 / parts)
    assert found.false_alarm_steps[0] == pytest.approx(500, rel=1e-3)


def test_less_known_more_bursts_and_rarer_alarms_need_higher_limits() -> None:
    few, many = alarm_limits([0.5, 0.5], [15.0, 500.0], [1.0, 1.0], steps=500).h
    assert few > many
    plain, bursts = alarm_limits([0.5, 0.5], [60.0, 60.0], [1.0, 2.2], steps=500).h
    assert bursts > plain
    assert alarm_limits([0.5], [60.0], [1.0], steps=2000).h[0] > plain


def test_limit_is_never_below_one_count_and_says_what_it_gives() -> None:
    found = alarm_limits([0.05], [6.0], [1.0], steps=2.0)
    assert found.h[0] == pytest.approx(1.0)
    assert found.false_alarm_steps[0] > 20


def test_same_question_same_limit_and_none_gives_none() -> None:
    asked = ([0.3, 2.0], [20.0, 200.0], [1.0, 1.3])
    first, second = (alarm_limits(*asked, steps=321.5) for _ in range(2))
    assert first.h.tolist() == second.h.tolist()
    assert alarm_limits([], [], [], steps=10).h.size == 0


def test_nonsense_is_refused() -> None:
    for given in ((0.0, 1, 1, 1), (1.0, 0, 1, 1), (1.0, 1, 1, 0), (np.nan, 1, 1, 1)):
        with pytest.raises(EstimateError, match="above 0"):
            cusum_cycles(*given)
    with pytest.raises(EstimateError, match="dispersion of 1 or more"):
        cusum_cycles(1.0, 1, 1, 1, dispersion=0.5)
    with pytest.raises(EstimateError, match="at least 1 step away"):
        alarm_limits([1.0], [20.0], [1.0], steps=1.0)


def test_any_chain_and_each_of_its_leading_parts_by_hand() -> None:
    """Closed form: mean steps to the alarm from the first state are (I - Q)^-1 1 of each part."""
    random = np.random.default_rng(9)
    chains = random.random((3, 7, 7)) * (random.random((3, 7, 7)) < 0.6)
    chains *= 0.97 / np.maximum(chains.sum(axis=2, keepdims=True), 1)
    found = chain_cycles(chains)
    for row, chain in enumerate(chains):
        for size in (1, 4, 7):
            left = np.eye(size) - chain[:size, :size]
            direct = np.linalg.solve(left, np.ones(size))[0]
            assert found.run_length[row, size - 1] == pytest.approx(direct, rel=1e-10)
    assert chain_cycles(chains[0]).steps == pytest.approx(found.steps[:1])


@pytest.mark.parametrize(
    ("chain", "words"),
    [
        (np.zeros((2, 3)), r"square.*\(1, 2, 3\)"),
        (np.zeros((0, 0)), "square"),
        ([[0.5, -0.1], [0.0, 0.5]], "0 or more"),
        ([[0.5, 0.6], [0.0, 0.5]], "1 at most"),
        ([[0.5, np.nan], [0.0, 0.5]], "0 or more"),
        ([[0.5, 0.4, 0.0], [0.0, 0.3, 0.7], [0.0, 0.9, 0.1]], "never left"),
    ],
)
def test_what_is_no_chain_with_an_end_is_refused(chain: Any, words: str) -> None:
    with pytest.raises(EstimateError, match=words):
        chain_cycles(chain)
