"""Which units have more events than their like, beyond chance, and by how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from analytics.errors import EstimateError
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.rate import (
    BoolArray,
    FloatArray,
    IntArray,
    check_indices,
    check_level,
    check_numbers,
    dispersion_of_counts,
    sums_by,
)
from analytics.estimate.shrinkage import shrunk_ratios
from analytics.estimate.tails import beta_binomial_upper_tail, binomial_upper_tail

MOST_FALSE = 0.10
"""A row stands out at a false discovery rate up to this."""

SURE_ENOUGH = 0.80
"""A row stands out where the chance of a ratio above 1.25 is at least this."""

SPREAD_P = 0.05
"""Counts that vary more than a binomial does in this share of cases are taken to vary more."""

BINOMIAL, BETA_BINOMIAL = "binomial", "beta-binomial"
ALONE = "standouts.alone"
NONE_EXPECTED = "standouts.none_expected"
_ROUNDS = 20


@dataclass(frozen=True, slots=True, eq=False)
class Standouts:
    """Every unit beside its like, arrays of shape (n,); NaN where a unit cannot be judged.

    `ratio` is observed over expected, the expected counts brought to the total of the stratum;
    `shrunk` with its bounds as `shrinkage.shrunk_ratios`; `p` the upper tail given the total of
    the stratum, `q` adjusted over all rows; `dispersion` that of the units of its stratum that do
    not stand out. `note` is a message key, empty when there is nothing to say.
    """

    observed: FloatArray
    expected: FloatArray
    ratio: FloatArray
    shrunk: FloatArray
    shrunk_lower: FloatArray
    shrunk_upper: FloatArray
    chance_above: FloatArray
    p: FloatArray
    q: FloatArray
    stands_out: BoolArray
    dispersion: FloatArray
    method: NDArray[np.str_]
    note: NDArray[np.str_]
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class Parts:
    """What units are made up of (the locomotives of a depot, of a series), arrays of shape (m,).

    `unit` is the index of the unit each part belongs to.
    """

    observed: FloatArray
    expected: FloatArray
    unit: IntArray


def find_standouts(
    observed: ArrayLike,
    expected: ArrayLike,
    *,
    stratum: ArrayLike | None = None,
    parts: Parts | None = None,
    level: float = 0.90,
) -> Standouts:
    """Judge units (locomotives, positions, series) against the others of their stratum.

    Parameters
    ----------
    observed : (n,) counts of events that do not follow from each other (first findings)
    expected : (n,) expected counts, in any unit common to the stratum
    stratum : (n,) index of the class each unit is compared within, default one for all
    parts : what the units are made up of, where that is known; see Conventions
    level : of the bounds of the shrunk ratio

    Returns
    -------
    Standouts
        A unit stands out where q <= 0.10 and the chance of a ratio above 1.25 is at least 0.80.

    Conventions
    -----------
    Given the total of its stratum, a count is binomial with the unit's share of what was expected:
    the unit itself is in the total. Where the counts of those that do not stand out vary more than
    that (dispersion above its 95 % point), beta-binomial; those that no longer stand out then join
    the others, until none does. Units made up of `parts` are
    few, and how much they differ is the question: there the spread is that of the parts within
    their units, and a unit's count varies as much more as its parts make it. q is Benjamini and
    Hochberg's over all rows handed in.

    Limits
    ------
    A unit of which nothing was expected, or alone in its stratum, is not judged: NaN with a note.
    No event in a stratum: ratio NaN.

    Raises
    ------
    EstimateError
        Unequal lengths, a count or an expectation below 0.

    References
    ----------
    Spiegelhalter (2005), Statistics in Medicine 24, 1185-1202; Benjamini & Hochberg (1995),
    J. R. Statist. Soc. B 57, 289-300; Clayton & Kaldor (1987), Biometrics 43, 671-681.
    """
    check_level(level)
    counts, means = check_numbers(observed, "observed"), check_numbers(expected, "expected")
    of = np.zeros(counts.size, np.int64) if stratum is None else np.asarray(stratum)
    if not counts.size == means.size == of.size:
        raise EstimateError("observed, expected and stratum need one value for each unit.")
    if np.any(counts < 0) or np.any(means < 0):
        raise EstimateError("Observed and expected counts are not below 0.")
    of = check_indices(of, int(of.max(initial=0)) + 1, "stratum")
    strata = int(of.max(initial=-1)) + 1
    usable = means > 0
    totals = sums_by(of, counts * usable, strata)
    with np.errstate(divide="ignore", invalid="ignore"):
        means = means * (totals / sums_by(of, means, strata))[of]
    figures = {name: np.full(counts.size, np.nan) for name in _FIGURES}
    method = np.full(counts.size, "", dtype="<U13")
    note = np.where(usable, "", NONE_EXPECTED).astype("<U40")
    for number in np.unique(of[usable]):
        mine = np.flatnonzero(usable & (of == number))
        if mine.size < 2:
            note[mine] = ALONE
        elif totals[number] > 0:
            own = None if parts is None else _parts_of(parts, mine)
            method[mine] = _judge(figures, mine, (counts[mine], means[mine]), own, level)
    q = benjamini_hochberg(figures["p"])
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(means > 0, counts / means, np.nan)
    return Standouts(
        observed=counts,
        expected=np.where(usable, means, 0.0),
        ratio=ratio,
        q=q,
        stands_out=(q <= MOST_FALSE) & (figures["chance_above"] >= SURE_ENOUGH),
        method=method,
        note=note,
        level=level,
        **figures,
    )


_FIGURES = ("shrunk", "shrunk_lower", "shrunk_upper", "chance_above", "p", "dispersion")


def _judge(
    figures: dict[str, FloatArray],
    mine: IntArray,
    given: tuple[FloatArray, FloatArray],
    parts: Parts | None,
    level: float,
) -> str:
    """Fill in the figures of one stratum; return how the tails were found."""
    counts, means = given
    if parts is None:
        p, dispersion, method = tails_among(counts, means)
    else:
        p, dispersion, method = tails_of_parts(counts, means, parts)
    drawn = shrunk_ratios(counts, means, level=level)
    figures["p"][mine], figures["dispersion"][mine] = p, dispersion
    figures["shrunk"][mine] = drawn.ratio
    figures["shrunk_lower"][mine], figures["shrunk_upper"][mine] = drawn.lower, drawn.upper
    figures["chance_above"][mine] = drawn.chance_above
    return method


def _parts_of(parts: Parts, mine: IntArray) -> Parts:
    """Return the parts of some units, the units numbered anew."""
    place = np.searchsorted(mine, parts.unit)
    inside = (place < mine.size) & (mine[np.minimum(place, mine.size - 1)] == parts.unit)
    inside &= parts.expected > 0
    return Parts(parts.observed[inside], parts.expected[inside], place[inside].astype(np.int64))


def tails_among(counts: FloatArray, means: FloatArray) -> tuple[FloatArray, float, str]:
    """Return upper tails of the units of one stratum, their dispersion, and the law used.

    Parameters
    ----------
    counts, means : (n,) observed and expected, n >= 2, the expected ones above 0

    Returns
    -------
    p (n,), dispersion of the units that do not stand out, `binomial` or `beta-binomial`
    """
    total, share = counts.sum(), np.minimum(means / means.sum(), 1.0)
    p = binomial_upper_tail(counts, total, share)
    outside = benjamini_hochberg(p) <= MOST_FALSE
    dispersion, spread = np.nan, False
    for _ in range(_ROUNDS):
        kept = ~outside
        if kept.sum() < 2:
            break
        dispersion, chance = dispersion_of_counts(counts[kept], means[kept])
        spread = bool(chance <= SPREAD_P and dispersion > 1)
        grow = dispersion if spread else 1.0
        within = counts[kept].sum() / share[kept].sum()  # brought to the whole stratum
        p = _tails(counts, total, share, _concentration(within, np.full(counts.size, grow)))
        found = outside & (benjamini_hochberg(p) <= MOST_FALSE)
        if np.array_equal(found, outside):
            break
        outside = found
    return p, dispersion, BETA_BINOMIAL if spread else BINOMIAL


def tails_of_parts(
    counts: FloatArray, means: FloatArray, parts: Parts
) -> tuple[FloatArray, float, str]:
    """Return the same for units made up of parts: the spread is that of the parts.

    Given the count of its unit, the parts' counts are multinomial; the sum of their chi-square
    statistics has a known mean and variance (Haldane 1939, Biometrika 31, 346-355). What it
    exceeds its mean by is a common squared coefficient of variation of the parts' rates.
    """
    total, share = counts.sum(), np.minimum(means / means.sum(), 1.0)
    size = counts.size
    area = sums_by(parts.unit, parts.expected, size)
    own = parts.expected / area[parts.unit]
    fitted = own * counts[parts.unit]
    some = counts > 0
    used = some[parts.unit]
    number = sums_by(parts.unit, used, size)
    statistic = float(np.sum((parts.observed - fitted)[used] ** 2 / fitted[used]))
    free = float(np.sum(np.maximum(number - 1.0, 0.0)))
    if not free:
        return tails_among(counts, means)
    inverse = sums_by(parts.unit[used], 1.0 / own[used], size)
    with np.errstate(divide="ignore", invalid="ignore"):
        more = (inverse - number**2 - 2.0 * (number - 1.0)) / counts
    variance = 2.0 * free + float(np.sum(np.where(some, more, 0.0)))
    scale = max(variance, 1e-12) / (2.0 * free)
    spread = float(special.chdtrc(free / scale, statistic / scale)) <= SPREAD_P
    squared = max(0.0, statistic - free) / float(np.sum((fitted * (1.0 - own))[used]) or 1.0)
    within = sums_by(parts.unit, own * own, size) * counts
    grow = 1.0 + squared * within if spread else np.ones(size)
    p = _tails(counts, total, share, _concentration(total, grow))
    return p, statistic / free, BETA_BINOMIAL if spread else BINOMIAL


def _concentration(total: float, grow: FloatArray) -> FloatArray:
    """Return the concentration under which variances grow so; infinite where they do not."""
    with np.errstate(divide="ignore"):
        found = np.maximum(total - grow, 1e-6) / np.maximum(grow - 1.0, 0.0)
    return np.where(grow > 1.0, np.maximum(found, 1e-6), np.inf)


def _tails(
    counts: FloatArray, total: float, share: FloatArray, concentration: FloatArray
) -> FloatArray:
    exact = binomial_upper_tail(counts, total, share)
    varied = np.isfinite(concentration)
    exact[varied] = beta_binomial_upper_tail(
        counts[varied], total, share[varied], concentration=concentration[varied]
    )
    return exact
