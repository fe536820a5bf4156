"""Groups of lives told apart when lives of one locomotive are alike.

Oracles: the log-rank test (observed and expected), lifelines' clustered errors where it has them,
the score by hand, identities, and simulated fleets.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from lifelines import CoxPHFitter
from pandas import DataFrame

from analytics.estimate.clustered_score import clustered_score_test
from analytics.estimate.logrank import log_rank
from analytics.estimate.risk_sets import check_pieces
from analytics.estimate.score_residuals import added_by, score_residuals

REFERENCE = Path(__file__).resolve().parents[1] / "reference"


def drawn(seed: int, size: int = 200) -> tuple[np.ndarray, ...]:
    """Lives with late entries, ties and two groups, six to a locomotive."""
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 6, size) * (rng.random(size) < 0.4)
    exit = entry + rng.integers(1, 15, size)
    return (
        entry.astype(float),
        exit.astype(float),
        rng.random(size) < 0.7,
        rng.integers(0, 2, size),
        np.arange(size) // 6,
    )


# The trial whose log-rank is published (see tests/estimate/test_logrank.py): the score test starts
# from the same observed and expected failures.
def test_leukaemia_trial_has_the_failures_of_the_log_rank() -> None:
    example = json.loads((REFERENCE / "freireich-6mp-logrank.json").read_text(encoding="utf-8"))
    data, printed = example["data"], example["published"]
    lives = np.zeros(42), data["time"], data["event"], data["group_6MP"]
    found = clustered_score_test(*lives, np.arange(42))
    assert found.observed[1] == printed["observed_6MP"]
    assert found.expected[1] == pytest.approx(printed["expected_6MP"], abs=0.006)
    assert found.df == 1


# By hand, one life a locomotive. Group a: 1 F, 4 C; b: 2 F, 3 F. At 1 four are at risk, two of
# a: hazard 1/4, share 1/2. At 2 three, share 1/3; at 3 two, share 1/2. Scores of a's indicator:
# a1: 1 - 1/2 - (1 - 1/2)/4 = 3/8
# a4: -(1/2)/4 - (2/3)/3 - (1/2)/2 = -43/72
# b2: -1/3 + (1/2)/4 + (1/3)/3 = -7/72, b3: -1/2 + 1/8 + 1/9 + 1/4 = -1/72
def test_score_and_variance_by_hand() -> None:
    lives = np.zeros(4), [1.0, 4.0, 2.0, 3.0], [1, 0, 1, 1], list("aabb")
    scores = np.array([27, -43, -7, -1]) / 72
    found = clustered_score_test(*lives, np.arange(4))
    assert found.chi2 == pytest.approx(scores.sum() ** 2 / (scores**2).sum())
    assert found.observed[0] - found.expected[0] == pytest.approx(scores.sum())
    # two locomotives, one life of each group on each
    pairs = clustered_score_test(*lives, [0, 1, 0, 1])
    sums = np.array([scores[0] + scores[2], scores[1] + scores[3]])
    assert pairs.chi2 == pytest.approx(scores.sum() ** 2 / (sums**2).sum())


# Other software: lifelines 0.30 has the errors by cluster of a Cox slope where nothing is tied and
# none enters late. With a life a cluster it is the ordinary robust error of Lin & Wei (1989).
@pytest.mark.parametrize("together", [1, 6])
def test_scores_give_the_errors_of_a_cox_slope(together: int) -> None:
    rng = np.random.default_rng(together)
    group, cluster = rng.integers(0, 2, 240).astype(float), np.arange(240) // together
    exit, failed = rng.weibull(1.4, 240) * np.exp(-0.4 * group), rng.random(240) < 0.7
    frame = DataFrame({"exit": exit, "failed": failed.astype(int), "x": group, "c": cluster})
    theirs = CoxPHFitter().fit(frame, "exit", "failed", cluster_col="c")
    slope = float(theirs.params_["x"])
    ours = score_residuals(check_pieces(np.zeros(240), exit, failed), group, slope=slope)
    error = np.sqrt((added_by(cluster, ours.score) ** 2).sum()) / ours.information
    assert error == pytest.approx(float(theirs.standard_errors_["x"]), rel=1e-6)


# Other software: the information with late entries and Efron's ties is that of lifelines.
def test_information_with_ties_and_late_entries_agrees_with_lifelines() -> None:
    entry, exit, failed, group, _ = drawn(3)
    frame = DataFrame({"e": entry, "t": exit, "d": failed.astype(int), "x": group.astype(float)})
    theirs = CoxPHFitter().fit(frame, "t", "d", entry_col="e")
    slope = float(theirs.params_["x"])
    ours = score_residuals(
        check_pieces(entry, exit, failed), group.astype(float), slope=slope, efron=True
    )
    assert ours.score.sum() == pytest.approx(0.0, abs=1e-4)
    assert ours.information**-0.5 == pytest.approx(float(theirs.standard_errors_["x"]), rel=1e-5)


def test_expected_failures_are_those_of_the_log_rank() -> None:
    entry, exit, failed, group, cluster = drawn(4)
    plain = log_rank(entry, exit, failed, group)
    found = clustered_score_test(entry, exit, failed, group, cluster)
    assert found.expected == pytest.approx(plain.expected)
    assert found.observed.tolist() == plain.observed.tolist()


def test_splitting_a_life_changes_nothing() -> None:
    entry, exit, failed, group, cluster = drawn(5)
    whole = clustered_score_test(entry, exit, failed, group, cluster)
    middle = (entry + exit) / 2
    split = clustered_score_test(
        np.concatenate([entry, middle]),
        np.concatenate([middle, exit]),
        np.concatenate([np.zeros(exit.size), failed]),
        np.tile(group, 2),
        np.tile(cluster, 2),
    )
    assert split.chi2 == pytest.approx(whole.chi2)
    assert split.p == pytest.approx(whole.p)


def test_one_life_a_locomotive_is_close_to_the_log_rank_where_groups_are_alike() -> None:
    rng = np.random.default_rng(8)
    exit, group = rng.exponential(1.0, 4000), rng.integers(0, 2, 4000)
    lives = np.zeros(4000), exit, np.ones(4000), group
    plain, found = log_rank(*lives), clustered_score_test(*lives, np.arange(4000))
    # Asymptotically the same; their variances differ by a few percent at this size.
    assert found.chi2 == pytest.approx(plain.chi2, rel=0.05)


def test_every_life_twice_over_says_no_more_than_once() -> None:
    """Copies on the same locomotive: the log-rank doubles, the clustered score does not."""
    rng = np.random.default_rng(9)
    exit, group, cluster = rng.exponential(1.0, 300), rng.integers(0, 2, 300), np.arange(300)
    lives = np.zeros(300), exit, np.ones(300), group
    twice = [np.tile(part, 2) for part in lives]
    once = clustered_score_test(*lives, cluster)
    again = clustered_score_test(*twice, np.tile(cluster, 2))
    assert again.chi2 == pytest.approx(once.chi2)
    assert log_rank(*twice).chi2 > 1.9 * log_rank(*lives).chi2


@pytest.mark.campaign
@pytest.mark.parametrize(("locomotives", "groups"), [(12, 2), (20, 2), (40, 3)])
def test_level_holds_where_lives_share_a_locomotive(locomotives: int, groups: int) -> None:
    """Groups are alike; each locomotive has a rate of its own (gamma, CV 0.7), six lives each."""
    rng = np.random.default_rng(locomotives)
    runs, plain, clustered = 600, 0, 0
    cluster = np.repeat(np.arange(locomotives), 6)
    for _ in range(runs):
        rate = rng.gamma(2.0, 0.5, locomotives)[cluster]
        life, cut = rng.exponential(1.0 / rate), rng.exponential(2.0, cluster.size)
        lives = np.zeros(cluster.size), np.minimum(life, cut), life <= cut, cluster % groups
        plain += log_rank(*lives).p < 0.10
        clustered += clustered_score_test(*lives, cluster).p < 0.10
    # Binomial standard error 0.012. The log-rank errs twice as often as it says, or more.
    assert 0.06 < clustered / runs < 0.125
    assert plain / runs > 0.18


@pytest.mark.parametrize(
    ("exit", "failed", "group", "cluster", "note"),
    [
        ([], [], [], [], "survival.nothing_to_compare"),
        ([1.0, 2.0], [1, 1], ["a", "a"], [0, 1], "survival.nothing_to_compare"),
        ([1.0, 2.0], [0, 0], ["a", "b"], [0, 1], "survival.nothing_to_compare"),
        ([1.0, 2.0, 3.0, 4.0], [1, 1, 1, 1], list("aabb"), [0, 0, 0, 0], "differ.one_locomotive"),
        ([1.0, 2.0, 3.0, 4.0], [1, 1, 1, 1], list("aabb"), [0, 0, 1, 2], "differ.one_locomotive"),
    ],
)
def test_nothing_to_compare_is_said(
    exit: list[float], failed: list[int], group: list[str], cluster: list[int], note: str
) -> None:
    found = clustered_score_test(np.zeros(len(exit)), exit, failed, group, cluster)
    assert np.isnan(found.p)
    assert found.note == note
