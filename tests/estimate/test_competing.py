"""Aalen-Johansen: published state probabilities and incidences, other software, identities."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats
from statsmodels.duration.survfunc import CumIncidenceRight

from analytics.errors import EstimateError
from analytics.estimate.competing import (
    IncidenceCurves,
    aalen_johansen,
    cumulative_incidence,
    time_in_state,
)
from analytics.estimate.survival import kaplan_meier

REFERENCE = Path(__file__).parents[1] / "reference"


def published(name: str) -> dict[str, Any]:
    example: dict[str, Any] = json.loads((REFERENCE / f"{name}.json").read_text("utf-8"))
    return example


def gammopathy(sex: str) -> tuple[np.ndarray, np.ndarray]:
    """Return months and event of one sex of the mgus2 data (source in the file)."""
    text = (REFERENCE / "mgus2.csv").read_text("utf-8").splitlines()
    rows = list(csv.DictReader(line for line in text if not line.startswith("#")))
    mine = [(float(row["etime"]), int(row["event"])) for row in rows if row["sex"] == sex]
    return np.array([row[0] for row in mine]), np.array([row[1] for row in mine])


# Therneau, "A tiny multi-state example ... true results" by hand in fractions, tests of the R
# package survival (mstate.R): five subjects, four states, delayed entry.
def test_state_probabilities_agree_with_the_hand_calculation() -> None:
    example = published("therneau-tiny-multistate-aalen-johansen")
    names, now = ["entry", "a", "b", "c"], dict[int, str]()
    stays = []
    for life, start, stop, state in example["data"]["id_start_stop_state"]:
        stays.append((start, stop, now.get(life, "entry"), names[state] if state else ""))
        now[life] = names[state] if state else now.get(life, "entry")
    start, stop, source, target = zip(*stays, strict=True)
    curves = aalen_johansen(
        start, stop, source, target, states=names, at=example["published"]["time"]
    )
    for column, name in enumerate(names):
        assert curves.probability[:, column] == pytest.approx(
            example["published"][name], abs=example["tolerance"]["default"]
        )


# Therneau, Crowson & Atkinson, vignette "Multi-state models and competing risks" of the R package
# survival: print(mfit2, rmean = 240, scale = 12), years in each state within 20 years, by sex.
@pytest.mark.parametrize("sex", ["F", "M"])
def test_mean_years_in_state_agree_with_the_printed_table(sex: str) -> None:
    example = published("mgus2-competing-risks-sojourn")
    months, event = gammopathy(sex)
    assert months.size in example["data"]["n"]
    curves = cumulative_incidence(np.zeros(months.size), months, event, least_at_risk=0)
    states = np.column_stack([curves.survival, curves.incidence])
    years = time_in_state(curves.age, states, 240.0) / 12.0
    printed = [example["published"][f"{sex}_{state}"] for state in ("s0", "pcm", "death")]
    assert years == pytest.approx(printed, abs=example["tolerance"]["default"])
    at_20_years = curves.incidence[np.searchsorted(curves.age, 240.0, side="right") - 1, 0]
    number = ["F", "M"].index(sex)
    assert at_20_years == pytest.approx(example["recomputed"]["cif_pcm_240m"][number], abs=1e-12)
    # The general estimator says the same.
    moved = aalen_johansen(
        np.zeros(months.size),
        months,
        ["well"] * months.size,
        np.array(["", "pcm", "death"])[event],
        states=["well", "pcm", "death"],
    )
    assert time_in_state(moved.age, moved.probability, 240.0) / 12.0 == pytest.approx(years)


def bounds_to_error(curves: IncidenceCurves, row: int) -> np.ndarray:
    left = 1.0 - curves.incidence[row]
    spread = np.log(np.log(1.0 - curves.upper[row]) / np.log(left))
    return spread * np.abs(left * np.log(left)) / stats.norm.ppf((1.0 + curves.level) / 2.0)


# Other software: statsmodels' cumulative incidence and its standard error.
def test_incidence_and_error_agree_with_statsmodels() -> None:
    months, event = gammopathy("F")
    curves = cumulative_incidence(np.zeros(months.size), months, event, least_at_risk=0)
    theirs = CumIncidenceRight(months, event)
    for month in (24.0, 120.0, 240.0):
        row = np.searchsorted(curves.age, month, side="right") - 1
        other = np.searchsorted(theirs.times, month, side="right") - 1
        incidence = [values[other] for values in theirs.cinc]
        error = [values[other] for values in theirs.cinc_se]
        assert curves.incidence[row] == pytest.approx(incidence, abs=1e-12)
        assert bounds_to_error(curves, row) == pytest.approx(error, rel=1e-9)


def drawn(seed: int, *, late: bool = False) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 5, 90) * float(late)
    return entry, entry + rng.integers(1, 15, 90), rng.integers(0, 4, 90)


# Identity: incidences and survival add up to 1, and survival is Kaplan-Meier of any failure.
@pytest.mark.parametrize("late", [False, True])
def test_incidences_and_survival_add_up(*, late: bool) -> None:
    entry, exit, kind = drawn(1, late=late)
    curves = cumulative_incidence(entry, exit, kind)
    assert curves.incidence.sum(axis=1) + curves.survival == pytest.approx(np.ones(curves.age.size))
    whole = kaplan_meier(entry, exit, kind > 0)
    assert curves.survival == pytest.approx(whole.survival)
    assert curves.age.tolist() == whole.age.tolist()
    assert curves.at_risk.tolist() == whole.at_risk.tolist()
    assert curves.events.sum(axis=1).tolist() == whole.events.tolist()
    assert curves.note == whole.note


# Identity: with one kind alone the incidence is 1 - Kaplan-Meier, its error Greenwood's.
def test_one_kind_alone_is_kaplan_meier() -> None:
    entry, exit, kind = drawn(2)
    curves = cumulative_incidence(entry, exit, np.minimum(kind, 1))
    whole = kaplan_meier(entry, exit, kind > 0)
    assert 1.0 - curves.incidence[:, 0] == pytest.approx(whole.survival)
    inside = (whole.survival > 0) & (whole.survival < 1)
    assert 1.0 - curves.upper[inside, 0] == pytest.approx(whole.lower[inside])
    assert 1.0 - curves.lower[inside, 0] == pytest.approx(whole.upper[inside])


def test_bounds_stay_inside_and_hold_the_incidence() -> None:
    entry, exit, kind = drawn(3, late=True)
    curves = cumulative_incidence(entry, exit, kind, least_at_risk=0)
    seen = ~np.isnan(curves.lower)
    assert np.all((curves.lower >= 0)[seen])
    assert np.all((curves.upper <= 1)[seen])
    assert np.all((curves.lower <= curves.incidence)[seen])
    assert np.all((curves.incidence <= curves.upper)[seen])


def test_kinds_may_be_words_and_order_changes_nothing() -> None:
    entry, exit, kind = drawn(4, late=True)
    words = np.array(["", "crack", "leak", "wear"])[kind]
    numbered = cumulative_incidence(entry, exit, kind)
    named = cumulative_incidence(60 * entry[::-1], 60 * exit[::-1], words[::-1])
    assert named.kinds == ("crack", "leak", "wear")
    assert numbered.kinds == ("1", "2", "3")
    assert named.incidence == pytest.approx(numbered.incidence)
    assert named.age == pytest.approx(60 * numbered.age)


def test_each_kind_by_itself_overstates() -> None:
    entry, exit, kind = drawn(5)
    curves = cumulative_incidence(entry, exit, kind, least_at_risk=0)
    alone = kaplan_meier(entry, exit, kind == 1, least_at_risk=0)
    assert curves.incidence[-1, 0] < 1.0 - alone.survival[-1]


# Coverage: nominal 90 %, exponential kinds, known incidence; binomial error 0.011 of 800 runs.
def test_bounds_cover_the_true_incidence() -> None:
    rng = np.random.default_rng(6)
    truth = 0.4 * (1.0 - np.exp(-1.0))
    held = 0
    for _ in range(800):
        life, censored = rng.exponential(1.0, 80), rng.uniform(0.5, 2.5, 80)
        kind = np.where(life <= censored, 1 + (rng.random(80) > 0.4), 0)
        curves = cumulative_incidence(np.zeros(80), np.minimum(life, censored), kind)
        row = np.searchsorted(curves.age, 1.0, side="right") - 1
        held += curves.lower[row, 0] <= truth <= curves.upper[row, 0]
    assert 0.87 < held / 800 < 0.93


def test_nothing_and_no_failures_are_said() -> None:
    assert cumulative_incidence([], [], []).note == "survival.no_lives"
    alive = cumulative_incidence(np.zeros(8), np.ones(8), np.zeros(8, dtype=int))
    assert (alive.note, alive.kinds, alive.incidence.shape) == ("survival.no_failures", (), (1, 0))
    assert aalen_johansen([], [], [], [], states=["a", "b"]).note == "survival.no_lives"


def test_all_failed_at_once() -> None:
    curves = cumulative_incidence(np.zeros(6), np.full(6, 4.0), [1, 1, 1, 1, 2, 2])
    assert curves.incidence[-1] == pytest.approx([4 / 6, 2 / 6])
    assert curves.survival[-1] == 0.0
    assert np.all(np.isfinite(curves.upper))


def test_unknown_state_is_refused_and_listed() -> None:
    with pytest.raises(EstimateError, match="'c'; the states are a, b"):
        aalen_johansen([0.0], [1.0], ["a"], ["c"], states=["a", "b"])


def test_time_in_state_before_the_start_is_refused() -> None:
    with pytest.raises(EstimateError, match="before its start"):
        time_in_state([5.0, 6.0], [1.0, 0.5], 4.0)
