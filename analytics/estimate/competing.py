"""Competing kinds of failure, and lives that move between states: Aalen-Johansen.

The share of lives lost to one kind by an age, while other kinds take lives too, is its cumulative
incidence. One minus Kaplan-Meier per kind, with the other kinds as censoring, overstates it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from analytics.errors import EstimateError
from analytics.estimate.rate import FloatArray, IntArray, check_level
from analytics.estimate.risk_sets import (
    LEAST_AT_RISK,
    Pieces,
    RiskTable,
    Window,
    check_ages,
    observed_window,
    product_limit,
    risk_table,
    within,
)


@dataclass(frozen=True, slots=True, eq=False)
class IncidenceCurves:
    """Step curves of cumulative incidence by age: rows of the arrays are ages, columns kinds.

    The first row is the origin (incidence 0); each further row a distinct age of failure of any
    kind. Shapes: `age`, `survival` (free of every kind), `at_risk` (k + 1,); `incidence`, `lower`,
    `upper`, `events` (k + 1, m) in the order of `kinds`. Other fields as in
    `survival.SurvivalCurve`.
    """

    age: FloatArray
    kinds: tuple[str, ...]
    incidence: FloatArray
    lower: FloatArray
    upper: FloatArray
    survival: FloatArray
    at_risk: IntArray
    events: IntArray
    origin_age: float
    cut_age: float
    lives: int
    level: float
    method: str
    note: str


@dataclass(frozen=True, slots=True, eq=False)
class StateCurves:
    """Probability of being in each state by age; rows are ages, columns states.

    Shapes: `age` (k,), beginning with the origin; `probability`, `at_risk` (k, s).
    """

    age: FloatArray
    states: tuple[str, ...]
    probability: FloatArray
    at_risk: IntArray
    note: str


def cumulative_incidence(
    entry: ArrayLike,
    exit: ArrayLike,
    kind: ArrayLike,
    *,
    level: float = 0.90,
    least_at_risk: int = LEAST_AT_RISK,
) -> IncidenceCurves:
    """Estimate by age the share of lives ended by each of several competing kinds.

    Parameters
    ----------
    entry, exit : arrays of shape (n,), ages in the clock's unit, 0 <= entry < exit
    kind : array of shape (n,), what ended each life; 0 or an empty text: nothing did (censored)
    level : two-sided level of the pointwise bounds
    least_at_risk : draw only while so many are at risk (0 draws everything)

    Returns
    -------
    IncidenceCurves, kinds in sorted order

    Conventions
    -----------
    Risk sets, ties, late entry, origin and cut as in `survival.kaplan_meier`. The incidences and
    survival add up to 1. Bounds: 1 - (1 - F) ** exp(-+ z se / ((1 - F) log(1 - F))), inside 0 to 1;
    the variance by the delta method.

    Limits
    ------
    Notes, the first that applies: `survival.no_lives`, `survival.few_at_risk`,
    `survival.no_failures`, `survival.conditional`. A kind not yet seen by an age has incidence 0
    there and NaN bounds.

    Raises
    ------
    EstimateError
        Undefined or negative ages, exit not after entry, unequal lengths.

    References
    ----------
    Aalen, O.O., Johansen, S. (1978), Scand. J. Statist. 5, 141-150. Marubini, E., Valsecchi, M.G.
    (1995), Analysing Survival Data from Clinical Trials and Observational Studies, section 10.2.
    Choudhury, J.B. (2002), Non-parametric confidence interval estimation for competing risks
    analysis, Statistics in Medicine 21, 1129-1144.
    """
    start, end = check_ages(entry, exit)
    names, number = _kinds(kind, end.size)
    pieces = Pieces(start, end, number >= 0)
    window = observed_window(start, end, lives=end.size, least_at_risk=least_at_risk)
    table = within(risk_table(pieces), window)
    events = np.zeros((table.age.size, len(names)))
    drawn = pieces.failed & (end > window.origin) & (end <= window.cut)
    np.add.at(events, (np.searchsorted(table.age, end[drawn]), number[drawn]), 1.0)
    survival = product_limit(table.hazard)
    before = np.concatenate([[1.0], survival[:-1]])[: survival.size]
    incidence = np.cumsum(events * (before / table.at_risk)[:, None], axis=0)
    error = np.sqrt(_incidence_variance(table, events, before, incidence))
    lower, upper = _incidence_bounds(incidence, error, check_level(level))
    origin_row = np.zeros((1, len(names)))
    at_origin = int(((start <= window.origin) & (end > window.origin)).sum())
    return IncidenceCurves(
        age=np.concatenate([[window.origin], table.age]),
        kinds=names,
        incidence=np.concatenate([origin_row, incidence]),
        lower=np.concatenate([origin_row, lower]),
        upper=np.concatenate([origin_row, upper]),
        survival=np.concatenate([[1.0], survival]),
        at_risk=np.concatenate([[at_origin], table.at_risk]),
        events=np.concatenate([origin_row, events]).astype(np.int64),
        origin_age=window.origin,
        cut_age=window.cut,
        lives=end.size,
        level=level,
        method="aalen-johansen",
        note=_note(end.size, window, table),
    )


def aalen_johansen(
    entry: ArrayLike,
    exit: ArrayLike,
    from_state: ArrayLike,
    to_state: ArrayLike,
    *,
    states: Sequence[str],
    initial: ArrayLike | None = None,
    at: ArrayLike | None = None,
) -> StateCurves:
    """Estimate by age the probability of being in each state, for lives that move between states.

    Parameters
    ----------
    entry, exit : arrays of shape (n,), ages in the clock's unit: a stay in one state over
        (entry, exit]; several rows a life
    from_state : array of shape (n,), the state of the stay
    to_state : array of shape (n,), the state entered at `exit`; empty text or the same state: none
    states : names of all states
    initial : array of shape (s,), probabilities at the origin; by default the shares of the states
        of the rows that begin at the least entry
    at : ages at which to read the curves; by default the origin and each age of a move

    Returns
    -------
    StateCurves

    Conventions
    -----------
    The origin is the least entry. At risk at age a: entry < a <= exit. All moves at one age are one
    step: a life moves at most once there.

    Limits
    ------
    No rows: NaN probabilities, note `survival.no_lives`.

    Raises
    ------
    EstimateError
        A state that is not among `states`, or ages that make no stay.

    References
    ----------
    Aalen, O.O., Johansen, S. (1978), An empirical transition matrix for non-homogeneous Markov
    chains based on censored observations, Scandinavian Journal of Statistics 5, 141-150.
    """
    start, end = check_ages(entry, exit)
    names = tuple(str(name) for name in states)
    source = _state_numbers(from_state, names, end.size, name="from_state")
    target = _state_numbers(to_state, names, end.size, name="to_state", none_allowed=True)
    target = np.where(target < 0, source, target)
    if not end.size:
        nothing = np.full((1, len(names)), np.nan)
        counts = np.zeros((1, len(names)), dtype=np.int64)
        return StateCurves(np.zeros(1), names, nothing, counts, "survival.no_lives")
    first = start == start.min()
    shares = np.bincount(source[first], minlength=len(names)) / first.sum()
    begin = shares if initial is None else np.asarray(initial, dtype=np.float64)
    age = np.unique(end[source != target])
    at_risk = _at_risk_by_state(start, end, source, age, states=len(names))
    moves = np.zeros((age.size, len(names), len(names)))
    moved = source != target
    np.add.at(moves, (np.searchsorted(age, end[moved]), source[moved], target[moved]), 1.0)
    probability = _chained(begin, moves, at_risk)
    age = np.concatenate([[start.min()], age])
    at_risk = np.concatenate([np.bincount(source[first], minlength=len(names))[None], at_risk])
    if at is not None:
        asked = np.asarray(at, dtype=np.float64)
        row = np.searchsorted(age, asked, side="right") - 1
        probability = np.where((row >= 0)[:, None], probability[row], np.nan)
        at_risk = _at_risk_by_state(start, end, source, asked, states=len(names))
        age = asked
    return StateCurves(age, names, probability, at_risk, "")


def time_in_state(age: ArrayLike, probability: ArrayLike, until: float) -> FloatArray:
    """Return the mean time spent in each state from the first age to `until`.

    Parameters
    ----------
    age : array of shape (k,), rising ages at which the step curves change, in the clock's unit
    probability : array of shape (k,) or (k, s), holding from each age to the next
    until : the age at which the mean is cut off ("restricted")

    Returns
    -------
    array of shape (s,), in the clock's unit

    Raises
    ------
    EstimateError
        `until` lies before the first age.
    """
    ages = np.asarray(age, dtype=np.float64)
    if not until >= ages[0]:
        raise EstimateError(f"The time in a state ends at {until!r}, before its start {ages[0]!r}.")
    steps = np.diff(np.append(np.minimum(ages, until), until))
    held = np.asarray(probability, dtype=np.float64).reshape(ages.size, -1)
    return np.asarray(steps @ held, dtype=np.float64)


def _kinds(kind: ArrayLike, size: int) -> tuple[tuple[str, ...], IntArray]:
    """Return the kinds as text and their number in each row, -1 where censored."""
    given = np.asarray(kind)
    if given.shape != (size,):
        raise EstimateError(f"kind needs one entry a row: {size}, got shape {given.shape!r}.")
    if given.dtype.kind not in "iub":
        given = given.astype(str)
        censored = given == ""
    else:
        censored = given == 0
    names, number = np.unique(given[~censored], return_inverse=True)
    numbers = np.full(size, -1, dtype=np.int64)
    numbers[~censored] = number
    return tuple(str(name) for name in names), numbers


def _state_numbers(
    given: ArrayLike, names: tuple[str, ...], size: int, *, name: str, none_allowed: bool = False
) -> IntArray:
    labels = np.asarray(given).astype(str)
    if labels.shape != (size,):
        raise EstimateError(f"{name} needs one state a row: {size}, got shape {labels.shape!r}.")
    place = {state: number for number, state in enumerate(names)}
    if none_allowed:
        place[""] = -1
    unknown = sorted(set(labels.tolist()) - place.keys())
    if unknown:
        raise EstimateError(f"{name} holds {unknown[0]!r}; the states are {', '.join(names)}.")
    return np.array([place[label] for label in labels.tolist()], dtype=np.int64)


def _at_risk_by_state(
    start: FloatArray, end: FloatArray, source: IntArray, age: FloatArray, *, states: int
) -> IntArray:
    counts = np.zeros((age.size, states), dtype=np.int64)
    for state in range(states):
        mine = source == state
        entered = np.searchsorted(np.sort(start[mine]), age, side="left")
        counts[:, state] = entered - np.searchsorted(np.sort(end[mine]), age, side="left")
    return counts


def _chained(begin: FloatArray, moves: FloatArray, at_risk: IntArray) -> FloatArray:
    """Multiply the initial probabilities through the step of each age, shape (k + 1, s)."""
    rates = moves / np.maximum(at_risk, 1)[:, :, None]
    probability = np.empty((moves.shape[0] + 1, begin.size))
    probability[0] = begin
    for row, rate in enumerate(rates):
        now = probability[row]
        probability[row + 1] = now - now * rate.sum(axis=1) + (now[:, None] * rate).sum(axis=0)
    return probability


def _incidence_variance(
    table: RiskTable, events: FloatArray, before: FloatArray, incidence: FloatArray
) -> FloatArray:
    """Return the delta-method variance of each incidence at each age, shape (k, m)."""
    at_risk = table.at_risk.astype(np.float64)
    survivors = at_risk - table.events
    # After an age that nobody survives no incidence rises any more, and its term is zero.
    survivors[survivors == 0] = np.inf
    of_survival = (table.events / (at_risk * survivors))[:, None]
    own = events * (at_risk[:, None] - events) * (before**2 / at_risk**3)[:, None]
    crossed = events * (before / at_risk**2)[:, None]
    sums = [np.cumsum(of_survival * factor, axis=0) for factor in (1.0, incidence, incidence**2)]
    grown = incidence**2 * sums[0] - 2.0 * incidence * sums[1] + sums[2]
    joint = incidence * np.cumsum(crossed, axis=0) - np.cumsum(crossed * incidence, axis=0)
    variance = grown + np.cumsum(own, axis=0) - 2.0 * joint
    return np.asarray(np.maximum(variance, 0.0), dtype=np.float64)


def _incidence_bounds(
    incidence: FloatArray, error: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    inside = (incidence > 0) & (incidence < 1)
    lower, upper = np.full_like(incidence, np.nan), np.full_like(incidence, np.nan)
    left = 1.0 - incidence[inside]
    quantile = stats.norm.ppf((1.0 + level) / 2.0)
    spread = np.exp(quantile * error[inside] / np.abs(left * np.log(left)))
    lower[inside] = -np.expm1(np.log(left) / spread)
    upper[inside] = -np.expm1(np.log(left) * spread)
    return lower, upper


def _note(lives: int, window: Window, table: RiskTable) -> str:
    notes = (
        ("survival.no_lives", lives == 0),
        ("survival.few_at_risk", window.few),
        ("survival.no_failures", table.age.size == 0),
        ("survival.conditional", window.origin > 0),
    )
    return next((key for key, applies in notes if applies), "")
