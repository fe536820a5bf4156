"""Who is at risk at which age: the one place where entries, exits and ties are counted.

A piece of a life is at risk over the half-open interval (entry, exit]: at age a it counts when
entry < a <= exit. A life that enters at the very age of another's failure is therefore not at risk
for it, and a life that leaves there still is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analytics.errors import EstimateError
from analytics.estimate.rate import BoolArray, FloatArray, IntArray, check_numbers

LEAST_AT_RISK = 5
"""A curve is drawn only while at least this many lives are at risk (METHODS section 4)."""

LEAST_SHARE = 0.10
"""With delayed entry a curve starts once this share of all lives is at risk together."""


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Checked pieces of lives, each at risk over (entry, exit]; arrays of shape (n,)."""

    entry: FloatArray
    exit: FloatArray
    failed: BoolArray


@dataclass(frozen=True, slots=True, eq=False)
class RiskTable:
    """Distinct ages with a failure, the number at risk and failing there; arrays of shape (k,)."""

    age: FloatArray
    at_risk: IntArray
    events: IntArray

    @property
    def hazard(self) -> FloatArray:
        """Return the share of those at risk that fails at each age."""
        return np.divide(self.events, self.at_risk, dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Window:
    """The ages over which a curve is drawn; `few` when fewer are ever at risk than asked for."""

    origin: float
    cut: float
    few: bool


def check_ages(entry: ArrayLike, exit: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return entry and exit as float arrays of one length, or raise EstimateError.

    Raises
    ------
    EstimateError
        Unequal lengths, an undefined or negative age, or a life of zero or negative length.
    """
    start, end = check_numbers(entry, "entry"), check_numbers(exit, "exit")
    if start.shape != end.shape:
        raise EstimateError(f"entry and exit differ in length: {start.size} and {end.size}.")
    wrong = (start < 0) | (end <= start)
    if wrong.any():
        at = int(np.argmax(wrong))
        raise EstimateError(
            f"A life needs 0 <= entry < exit; at index {at} entry is {float(start[at])!r} "
            f"and exit {float(end[at])!r}."
        )
    return start, end


def check_pieces(entry: ArrayLike, exit: ArrayLike, failed: ArrayLike) -> Pieces:
    """Return pieces of lives ready for counting, or raise EstimateError.

    `failed` holds True/False or 1/0: whether the piece ends in a failure at `exit`.
    """
    start, end = check_ages(entry, exit)
    marks = check_numbers(failed, "failed")
    if marks.shape != end.shape:
        raise EstimateError(f"exit and failed differ in length: {end.size} and {marks.size}.")
    odd = (marks != 0) & (marks != 1)
    if odd.any():
        raise EstimateError(f"failed is True or False, got {float(marks[odd][0])!r}.")
    return Pieces(start, end, marks == 1)


def number_at_risk(entry: ArrayLike, exit: ArrayLike, ages: ArrayLike) -> IntArray:
    """Count the pieces with entry < age <= exit at each of `ages`, for the row under a curve.

    Parameters
    ----------
    entry, exit : arrays of shape (n,), in the clock's unit
    ages : array of any shape, in the clock's unit

    Returns
    -------
    array of counts, shaped like `ages`
    """
    start, end = check_ages(entry, exit)
    asked = np.asarray(ages, dtype=np.float64)
    entered = np.searchsorted(np.sort(start), asked, side="left")
    left = np.searchsorted(np.sort(end), asked, side="left")
    return np.asarray(entered - left, dtype=np.int64)


def risk_table(pieces: Pieces) -> RiskTable:
    """Count failures and lives at risk at each distinct age of failure."""
    age, events = np.unique(pieces.exit[pieces.failed], return_counts=True)
    return RiskTable(age, number_at_risk(pieces.entry, pieces.exit, age), events.astype(np.int64))


def product_limit(hazard: FloatArray) -> FloatArray:
    """Return survival after each age from the hazards at these ages."""
    return np.cumprod(1.0 - hazard).astype(np.float64)


def loglog_bounds(
    survival: FloatArray, error: FloatArray, quantile: float
) -> tuple[FloatArray, FloatArray]:
    """Return pointwise bounds of survival, inside 0 to 1, from the standard error of its log.

    survival ** exp(-+ quantile x error / log survival). Where survival is 0 the lower bound is 0
    and the upper stays where it was before (survival cannot rise); survival 1 is not asked for.
    """
    alive = survival > 0
    lower, upper = np.zeros_like(survival), np.ones_like(survival)
    log_survival = np.log(survival[alive])
    spread = np.exp(quantile * error[alive] / np.abs(log_survival))
    lower[alive] = np.exp(log_survival * spread)
    upper[alive] = np.exp(log_survival / spread)
    if not alive.all():
        upper[~alive] = upper[alive][-1] if alive.any() else 1.0
    return lower, upper


def within(table: RiskTable, window: Window) -> RiskTable:
    """Keep the ages of failure inside (origin, cut]."""
    keep = (table.age > window.origin) & (table.age <= window.cut)
    return RiskTable(table.age[keep], table.at_risk[keep], table.events[keep])


def observed_window(
    entry: FloatArray, exit: FloatArray, *, lives: int, least_at_risk: int = LEAST_AT_RISK
) -> Window:
    """Find the ages over which enough lives are watched for a curve.

    The curve starts at the least age just after which max(`least_at_risk`, 10 % of the lives) are
    at risk, which is 0 unless entries are delayed, and ends where fewer than `least_at_risk`
    remain. A sample that never has so many at risk is kept to its end and marked `few`; it starts
    where it has most. `least_at_risk` 0 switches all cutting off.
    """
    if entry.size == 0:
        return Window(0.0, 0.0, few=True)
    last = float(exit.max())
    if least_at_risk <= 0:
        return Window(float(entry.min()), last, few=False)
    ages = np.unique(np.concatenate([entry, exit]))
    entered = np.searchsorted(np.sort(entry), ages, side="right")
    after = entered - np.searchsorted(np.sort(exit), ages, side="right")
    most = int(after.max())
    enough = min(max(float(least_at_risk), LEAST_SHARE * lives), float(most))
    origin = float(ages[np.argmax(after >= enough)])
    if most < least_at_risk:
        return Window(origin, last, few=True)
    cut = float(ages[np.argmax((ages > origin) & (after < least_at_risk))])
    return Window(origin, cut, few=False)


def check_labels(labels: ArrayLike, size: int, name: str) -> IntArray:
    """Number the distinct labels (of lives, locomotives, groups) 0, 1, ... in sorted order."""
    given = np.asarray(labels)
    if given.shape != (size,):
        raise EstimateError(f"{name} needs one label a row: {size}, got shape {given.shape!r}.")
    if given.dtype == object:
        given = given.astype(str)
    _, numbers = np.unique(given, return_inverse=True)
    return numbers.astype(np.int64)
