"""The ratio of two groups of lives, by Cox and by Weibull, with errors by locomotive.

Oracles: values of the leukaemia trial known from the literature (from memory), lifelines' own
errors where it has them, identities, a simulated fleet.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from lifelines import CoxPHFitter, WeibullAFTFitter
from lifelines.statistics import proportional_hazard_test
from pandas import DataFrame

from analytics.errors import EstimateError
from analytics.estimate.group_ratio import (
    COX,
    WEIBULL,
    _weibull_scores,
    group_ratio,
)
from analytics.estimate.lifelines_fits import weibull_slopes
from analytics.estimate.risk_sets import check_pieces

DATA = json.loads(
    (Path(__file__).resolve().parents[1] / "reference" / "freireich-6mp-logrank.json").read_text(
        encoding="utf-8"
    )
)["data"]
TRIAL = check_pieces(np.zeros(42), DATA["time"], DATA["event"])
PLACEBO = np.array(DATA["group_6MP"]) == 0


def fleet(seed: int, size: int = 120) -> tuple[np.ndarray, ...]:
    rng = np.random.default_rng(seed)
    group, cluster = rng.integers(0, 2, size), rng.integers(0, 20, size)
    entry = 15.0 * rng.random(size) * (rng.random(size) < 0.4)
    life = 16.0 + 100.0 * rng.weibull(1.4, size) * np.exp(-0.4 * group)
    return entry, life, rng.random(size) < 0.7, group, cluster


# From memory: Cox regression with Efron's ties gives a coefficient of 1.572 (hazard ratio 4.82) for
# this trial, the Weibull model 1.267 for the treatment (life 3.55 times as long), scale 0.732
# (Venables & Ripley, Modern Applied Statistics with S, gehan data; Kleinbaum & Klein, chapter 7).
def test_leukaemia_trial_has_the_ratios_of_the_literature() -> None:
    cox = group_ratio(TRIAL, PLACEBO, np.arange(42), COX)
    assert np.log(cox.ratio) == pytest.approx(1.572, abs=0.0006)
    weibull = group_ratio(TRIAL, ~PLACEBO, np.arange(42), WEIBULL)
    assert np.log(weibull.ratio) == pytest.approx(1.267, abs=0.0006)
    assert weibull.lower < weibull.ratio < weibull.upper
    _, _, log_scale = weibull_slopes(TRIAL.entry, TRIAL.exit, TRIAL.failed, 1.0 * PLACEBO)
    assert np.exp(log_scale) == pytest.approx(0.732, abs=0.0006)


# Other software: lifelines' test of proportional hazards. With ties it ranks rows one by one.
def test_proportional_hazards_check_agrees_with_lifelines() -> None:
    rng = np.random.default_rng(2)
    group, exit = rng.integers(0, 2, 150), rng.weibull(1.2, 150)
    failed = rng.random(150) < 0.8
    frame = DataFrame({"t": exit, "d": failed.astype(int), "x": group.astype(float)})
    theirs = proportional_hazard_test(CoxPHFitter().fit(frame, "t", "d"), frame)
    found = group_ratio(check_pieces(np.zeros(150), exit, failed), group, np.arange(150), COX)
    assert found.proportional_p == pytest.approx(float(theirs.p_value[0]), rel=1e-4)
    cox = group_ratio(TRIAL, PLACEBO, np.arange(42), COX)
    frame = DataFrame({"t": DATA["time"], "d": DATA["event"], "x": 1.0 * PLACEBO})
    theirs = proportional_hazard_test(CoxPHFitter().fit(frame, "t", "d"), frame)
    assert cox.proportional_p == pytest.approx(float(theirs.p_value[0]), abs=0.01)


def test_a_ratio_that_changes_with_age_is_found() -> None:
    rng = np.random.default_rng(12)
    group = rng.integers(0, 2, 400)
    # early deaths against late ones: the hazards cross
    exit = np.where(group == 1, rng.weibull(0.6, 400), rng.weibull(2.5, 400))
    pieces = check_pieces(np.zeros(400), exit, np.ones(400))
    assert group_ratio(pieces, group, np.arange(400), COX).proportional_p < 0.001


# Other software: lifelines' information and (by a loop over rows) its robust errors, late entries
# included, against the scores written out here.
def test_weibull_scores_agree_with_lifelines() -> None:
    entry, exit, failed, group, _ = fleet(3, 60)
    pieces, x = check_pieces(entry, exit, failed), group.astype(float)
    frame = DataFrame({"e": entry, "t": exit, "d": failed.astype(int), "x": x})
    plain = WeibullAFTFitter().fit(frame, "t", "d", entry_col="e")
    robust = WeibullAFTFitter().fit(frame, "t", "d", entry_col="e", robust=True)
    score, information = _weibull_scores(pieces, x, *weibull_slopes(entry, exit, failed, x))
    inverse = np.linalg.inv(information)
    sandwich = inverse @ score.T @ score @ inverse
    order = [("lambda_", "Intercept"), ("lambda_", "x"), ("rho_", "Intercept")]
    for matrix, fitted in ((inverse, plain), (sandwich, robust)):
        expected = [float(fitted.standard_errors_[name]) for name in order]
        assert np.sqrt(np.diag(matrix)) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("model", [COX, WEIBULL])
def test_pieces_copies_and_the_other_way_round(model: str) -> None:
    """Identities: split lives change nothing, copies on one locomotive nothing but n / (n - 1)."""
    entry, exit, failed, group, cluster = fleet(4)
    found = group_ratio(check_pieces(entry, exit, failed), group, cluster, model)
    middle = (entry + exit) / 2
    split = check_pieces(
        np.concatenate([entry, middle]),
        np.concatenate([middle, exit]),
        np.concatenate([np.zeros(exit.size), failed]),
    )
    again = group_ratio(split, np.tile(group, 2), np.tile(cluster, 2), model)
    assert (again.ratio, again.lower) == pytest.approx((found.ratio, found.lower), rel=1e-4)
    back = group_ratio(check_pieces(entry, exit, failed), 1 - group, cluster, model)
    assert (back.ratio, back.upper) == pytest.approx((1 / found.ratio, 1 / found.lower), rel=1e-4)
    clock = group_ratio(check_pieces(60 * entry, 60 * exit, failed), group, cluster, model)
    assert (clock.ratio, clock.lower) == pytest.approx((found.ratio, found.lower), rel=1e-4)


@pytest.mark.campaign
@pytest.mark.parametrize("model", [COX, WEIBULL])
def test_nine_intervals_in_ten_hold_the_ratio(model: str) -> None:
    """Lives of one locomotive share a factor of life (lognormal 0.4); groups lie across them.

    Weibull lives: the ratio of lives exp(0.5). The Cox ratio is that of the mixture, not known in
    closed form: without a difference it is 1 whatever the mixture.
    """
    rng = np.random.default_rng(31)
    shift = 0.5 if model == WEIBULL else 0.0
    runs, held = 100, 0
    cluster = np.repeat(np.arange(24), 5)
    for _ in range(runs):
        group = rng.integers(0, 2, 24)[cluster] if model == COX else rng.integers(0, 2, 120)
        life = rng.weibull(1.5, 120) * np.exp(rng.normal(0, 0.4, 24)[cluster] + shift * group)
        cut = rng.uniform(0.5, 3.0, 120)
        pieces = check_pieces(np.zeros(120), np.minimum(life, cut), life <= cut)
        found = group_ratio(pieces, group, cluster, model, level=0.90)
        held += found.lower <= np.exp(shift) <= found.upper
    # Binomial standard error 0.03.
    assert 0.82 <= held / runs <= 0.98, held / runs


@pytest.mark.parametrize("model", [COX, WEIBULL])
@pytest.mark.parametrize(
    ("failed", "cluster", "note"),
    [
        ([1, 1, 0, 0, 0, 0], range(6), "differ.too_few"),
        ([1, 1, 1, 0, 0, 0], range(6), "differ.none_failed"),
        ([1, 1, 1, 1, 1, 1], [0, 0, 0, 1, 2, 3], "differ.one_locomotive"),
        ([0, 0, 0, 0, 0, 0], range(6), "differ.too_few"),
    ],
)
def test_too_little_is_said(model: str, failed: list[int], cluster: list[int], note: str) -> None:
    pieces = check_pieces(np.zeros(6), [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], failed)
    found = group_ratio(pieces, [1, 1, 1, 0, 0, 0], list(cluster), model)
    assert np.isnan(found.ratio)
    assert np.isnan(found.p)
    assert found.note == note


def test_groups_that_never_overlap_have_no_hazard_ratio() -> None:
    """All of one side fail before any of the other: the likelihood rises for ever (Cox, 1972)."""
    pieces = check_pieces(np.zeros(24), np.arange(1.0, 25.0), np.ones(24))
    early = np.arange(24) < 12
    found = group_ratio(pieces, early, range(24), COX)
    assert np.isnan([found.ratio, found.lower, found.upper, found.p]).all()
    assert found.note == "differ.not_determined"
    lives = group_ratio(pieces, early, range(24), WEIBULL)
    assert 0 < lives.lower < lives.ratio < lives.upper < 1


def test_no_lives_and_an_unknown_model() -> None:
    none = check_pieces([], [], [])
    assert group_ratio(none, [], [], COX).note == "differ.too_few"
    with pytest.raises(EstimateError, match="A model is cox or weibull aft"):
        group_ratio(none, [], [], "gamma")
