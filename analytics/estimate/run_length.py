"""How long a cumulative sum of weekly counts runs before it alarms, and the limit that suits.

The chart is S = max(0, S + x - k) with an alarm at S >= h (Lucas 1985). `cusum_cycles` is the exact
Markov chain of Brook & Evans (1972), solved by `chain_cycles`; `alarm_limits` turns it round: the
limit h at which false alarms come as seldom as asked, although the rate is known from a finite
baseline only.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import log

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline, RegularGridInterpolator
from scipy.special import gammaincinv, gammaln, xlog1py, xlogy

from analytics.errors import EstimateError

FloatArray = NDArray[np.float64]

DOUBLING = float(np.log(2.0))
"""k = mean / ln 2 tells a doubled rate from the usual one soonest (Lucas 1985, equation 2)."""
LEAST_LIMIT = 1.0
"""No chart alarms at less: one single finding in a quiet time is no warning."""

_NO_CHANCE = 1e-13  # rounding leaves as much of none
_MOST_STATES = 240
_FURTHEST = 20.0  # no chart needs a higher limit for a false alarm in a few thousand weeks
# k of the grid as fractions in lowest terms: the sum then moves on the lattice of the denominator.
_REFERENCES = (
    (1, 20), (1, 14), (1, 10), (1, 7), (2, 11), (3, 11), (3, 8), (5, 9), (5, 7), (8, 9), (8, 7),
    (11, 7), (15, 7), (20, 7), (21, 5), (29, 5), (31, 4), (41, 4), (44, 3), (62, 3), (89, 3),
    (125, 3), (173, 3),
)  # fmt: skip
_RATIOS = np.exp(np.linspace(log(0.2), log(4.0), 15))  # true rate over estimated one
_SHAPES = np.array([4.0, 6, 9, 14, 22, 40, 80, 200, 600, 2500])
_MEANS = np.array([over / under for over, under in _REFERENCES]) * DOUBLING
_DISPERSIONS = np.array([1.0, 1.4, 2.0, 3.0, 5.0])
_SLICES = (np.arange(100) + 0.5) / 100


@dataclass(frozen=True, slots=True, eq=False)
class Cycles:
    """From one zero to the next zero or alarm, for limits 1, 2, ... parts of the lattice.

    Both arrays are (means, limits): `steps` the mean number of steps of a cycle, `chance` that it
    ends in an alarm.
    """

    steps: FloatArray
    chance: FloatArray

    @property
    def run_length(self) -> FloatArray:
        """Mean number of steps from 0 to an alarm, the alarming one included."""
        return self.steps / self.chance


def cusum_cycles(
    mean: ArrayLike, reference: int, parts: int, most: int, *, dispersion: ArrayLike = 1.0
) -> Cycles:
    """Length and end of a cycle of S = max(0, S + x - k), for all limits on a lattice at once.

    Parameters
    ----------
    mean : (n,) or a number
        Expected count of one step, above 0.
    reference, parts
        k = reference / parts: S moves on multiples of 1 / parts.
    most
        The highest limit wanted, as a multiple of 1 / parts.
    dispersion : (n,) or a number
        Variance over mean of a step: 1 is Poisson, above it negative binomial.

    Returns
    -------
    Cycles
        Column j - 1 is for an alarm at S >= j / parts.

    Conventions
    -----------
    The states below a lower limit are the first states of the chain with a higher one, so that one
    elimination without exchange of rows (the matrix is diagonally dominant) serves all limits. A
    chance below 1e-12 is given as 1e-12: it cannot be told from none.

    Raises
    ------
    EstimateError
        A mean, lattice or limit that is not above 0, or a dispersion below 1.

    References
    ----------
    Brook & Evans (1972), Biometrika 59, 539-549, section 2; Lucas (1985), Technometrics 27,
    129-144.
    """
    means = np.atleast_1d(np.asarray(mean, dtype=np.float64))
    spread = np.broadcast_to(np.asarray(dispersion, dtype=np.float64), means.shape)
    whole = min(reference, parts, most) > 0
    if not (whole and np.all(means > 0) and np.all(spread >= 1) and np.isfinite(means).all()):
        raise EstimateError(
            "A run length needs mean, reference, parts and limit above 0 and a dispersion of 1 or"
            f" more, got {mean!r}, {reference!r}, {parts!r}, {most!r}, {dispersion!r}."
        )
    counts = np.arange((most + reference) // parts + 1)
    chances = _chances(counts, means[:, None], spread[:, None])
    states = np.arange(most)
    # To move by d parts a step must bring d + reference of them, a whole number of counts.
    by = np.zeros((means.size, 2 * most))
    moves = parts * counts - reference
    inside = np.abs(moves) < most
    by[:, moves[inside] + most] = chances[:, inside]
    moved = by[:, states[None, :] - states[:, None] + most]
    home = np.cumsum(chances, axis=1)[:, np.clip(reference - states, 0, None) // parts]
    moved[:, :, 0] = home * (states <= reference)
    return chain_cycles(moved, down=reference)


def chain_cycles(chain: ArrayLike, *, down: int | None = None) -> Cycles:
    """Length and end of a cycle of any chart that is a Markov chain, for all leading parts at once.

    Parameters
    ----------
    chain : (n, states, states), or (states, states) for one chain
        Chance to move in one step from the state of the row to that of the column. What a row
        lacks to 1 is the chance of an alarm.
    down
        No move goes down by more states than this; None where moves may go anywhere.

    Returns
    -------
    Cycles
        A cycle goes from the first state back to it, or to an alarm. Column j - 1 is for the first
        j states alone, where a move to any other is an alarm; the last column is the whole chain.

    Conventions
    -----------
    A chart that starts elsewhere has that state put first; one that starts where it can never come
    back to has a first state that nothing moves to.

    Limits
    ------
    A chance of an alarm below 1e-12 is given as 1e-12: it cannot be told from none. `down` is taken
    at its word: with moves that go further the result is wrong.

    Raises
    ------
    EstimateError
        A chain that is not square, chances below 0 or of a row that add up to more than 1, or
        states that once reached are never left.

    References
    ----------
    Brook & Evans (1972), Biometrika 59, 539-549, section 2; Champ & Woodall (1987), Technometrics
    29, 393-399 (rules on runs as a chain).
    """
    moves = np.asarray(chain, dtype=np.float64)
    moves = moves[None] if moves.ndim == 2 else moves
    if moves.ndim != 3 or not moves.shape[1] == moves.shape[2] > 0:
        raise EstimateError(f"A chain is square, states by states, got shape {moves.shape!r}.")
    if not (moves.min() >= 0 and moves.sum(axis=2).max() <= 1 + 1e-9):
        raise EstimateError("Chances of a chain are 0 or more and add up to 1 at most in a row.")
    reach = moves.shape[1] if down is None else down
    with np.errstate(divide="ignore", invalid="ignore"):
        steps, back = _add_up(moves[:, :, 1:], moves[:, :, 0], reach)
    if not np.isfinite(steps).all():
        raise EstimateError("A chain has states that once reached are never left.")
    return Cycles(steps, np.maximum(1.0 - back, 1e-12))


def _add_up(moved: FloatArray, home: FloatArray, reference: int) -> tuple[FloatArray, FloatArray]:
    """Mean steps of a cycle, and its chance to end at zero, for 1, 2, ... states.

    From state s the chain moves to state t with chance `moved[:, s, t - 1]` and ends at zero with
    `home[:, s]`. Row by row the states above zero are eliminated; no move goes down by more than
    `reference`, so no more rows are touched at once.
    """
    means, size = home.shape
    left = np.eye(size - 1) - moved[:, 1:]
    ends = np.stack([np.ones_like(home), home], axis=2)  # what each state adds to both results
    first = moved[:, 0].copy()
    found = np.empty((2, means, size))
    found[:, :, 0] = ends[:, 0].T
    for state in range(size - 1):
        own = left[:, state, state:]
        weight = first[:, state] / own[:, 0]
        found[:, :, state + 1] = found[:, :, state] + (weight[:, None] * ends[:, state + 1]).T
        first[:, state:] -= weight[:, None] * own
        low = slice(state + 1, min(state + 1 + reference, size - 1))
        times = left[:, low, state] / own[:, :1]
        left[:, low, state + 1 :] -= times[:, :, None] * own[:, None, 1:]
        ends[:, low.start + 1 : low.stop + 1] -= times[:, :, None] * ends[:, None, state + 1]
    # What stands on the diagonal is the chance to get away from each state: none, no mean.
    found[0, np.diagonal(left, axis1=1, axis2=2).min(axis=1, initial=1.0) < _NO_CHANCE] = np.nan
    return found[0], found[1]


def _chances(counts: NDArray[np.int_], mean: FloatArray, dispersion: FloatArray) -> FloatArray:
    """Chance of each count; both laws by the log of the gamma function, rows of one law alike."""
    if np.all(dispersion == 1):
        return np.asarray(np.exp(xlogy(counts, mean) - mean - gammaln(counts + 1.0)))
    size = mean / np.maximum(dispersion - 1, 1e-9)
    logs = gammaln(counts + size) - gammaln(size) - gammaln(counts + 1.0)
    return np.asarray(np.exp(logs - size * np.log(dispersion) + xlog1py(counts, -1 / dispersion)))


@dataclass(frozen=True, slots=True, eq=False)
class AlarmLimits:
    """Limits `h` in counts and the mean steps to a false alarm they give, one of each per chart."""

    h: FloatArray
    false_alarm_steps: FloatArray


def alarm_limits(
    mean: ArrayLike, events: ArrayLike, dispersion: ArrayLike, *, steps: float
) -> AlarmLimits:
    """Limits at which a false alarm comes once in so many steps, with the rate only estimated.

    Parameters
    ----------
    mean : (n,)
        Expected count of one step by the estimated rate; k is taken as mean / ln 2.
    events : (n,)
        Events that the rate was estimated from: the less, the wider the posterior of the rate.
    dispersion : (n,)
        Variance over mean of a step.
    steps
        Mean number of steps to a false alarm that is wanted of each chart.

    Returns
    -------
    AlarmLimits

    Conventions
    -----------
    The posterior of true over estimated rate is gamma with shape events + 1/2, rate events
    (Jeffreys' prior), taken in 100 equal slices. What is held is the expected number of false
    alarms a step, which is what a fleet of charts adds up: with p the chance that a cycle ends in
    an alarm and l its length, the mean of p / l would hold if a baseline stayed for good, mean p
    over mean l if it were drawn afresh for each cycle. A baseline moves on while the sum is at
    zero and stands still above: the geometric mean of both is taken, which simulation bears out.
    Cycles are solved on a grid of mean, events, dispersion and ratio of rates, kept for the
    process, and interpolated: the same input gives the same limit always.

    Limits
    ------
    Means outside 0.035 to 40, dispersions above 5 and events outside 4 to 2,500 are taken at the
    nearest end. A limit lies between 1 and 20 counts (12 for the smallest means); at an end
    `false_alarm_steps` says what it gives.

    Raises
    ------
    EstimateError
        Steps that are not above 1.
    """
    if not steps > 1:
        raise EstimateError(f"A false alarm must be at least 1 step away, got {steps!r}.")
    at = np.column_stack(
        [
            _within(np.asarray(dispersion, dtype=np.float64), _DISPERSIONS),
            _within(np.log(np.asarray(mean, dtype=np.float64)), np.log(_MEANS)),
            _within(np.log(np.asarray(events, dtype=np.float64)), np.log(_SHAPES)),
        ]
    )
    if not len(at):
        return AlarmLimits(np.zeros(0), np.zeros(0))
    levels = int(np.searchsorted(_DISPERSIONS, at[:, 0].max())) + 1
    found = np.stack([_limit_table(level, float(steps)) for level in range(levels)])
    grid = [_DISPERSIONS[:levels], np.log(_MEANS), np.log(_SHAPES)]
    if levels == 1:  # all Poisson
        grid, found, at = grid[1:], found[0], at[:, 1:]
    values = RegularGridInterpolator(grid, found)(at)
    return AlarmLimits(values[:, 0], np.exp(values[:, 1]))


def _within(values: FloatArray, ends: FloatArray) -> FloatArray:
    return np.clip(values, ends[0], ends[-1])


@lru_cache(maxsize=64)
def _limit_table(level: int, steps: float) -> FloatArray:
    """Limit, and log of the steps it gives, for each mean and number of events of the grid."""
    table = np.empty((_MEANS.size, _SHAPES.size, 2))
    for row, (reference, parts) in enumerate(_REFERENCES):
        limits, rates = _false_alarm_rates(reference, parts, float(_DISPERSIONS[level]))
        for column, rate in enumerate(rates):
            limit = max(float(np.interp(log(steps), -rate, limits)), LEAST_LIMIT)
            table[row, column] = limit, -np.interp(limit, limits, rate)
    return table


@lru_cache(maxsize=256)
def _false_alarm_rates(
    reference: int, parts: int, dispersion: float
) -> tuple[FloatArray, FloatArray]:
    """Limits, and for each number of events the log of the false alarms a step they give.

    A chart whose k is no multiple of 1 / parts takes values everywhere: what the lattice says for
    j / parts holds for limits between its neighbours, and is put in their middle.
    """
    most = min(_MOST_STATES, round(_FURTHEST * parts))
    found = cusum_cycles(
        _RATIOS * reference / parts * DOUBLING,
        reference,
        parts,
        most,
        dispersion=1 + (dispersion - 1) * _RATIOS,
    )
    rates = np.empty((_SHAPES.size, most))
    for row, weights in enumerate(_posterior_weights()):
        each, alarms = (np.exp(weights @ np.log(part)) for part in (found.steps, found.chance))
        stays = np.log((alarms / each).mean(axis=0))
        renewed = np.log(alarms.mean(axis=0) / each.mean(axis=0))
        rates[row] = np.minimum.accumulate((stays + renewed) / 2)
    return (np.arange(1, most + 1) - 0.5) / parts, rates


@lru_cache(maxsize=1)
def _posterior_weights() -> FloatArray:
    """Weights (events, slices, ratios) by which a cubic spline over the ratios meets each slice."""
    ratio = gammaincinv(_SHAPES[:, None] + 0.5, _SLICES) / _SHAPES[:, None]
    of = np.log(np.clip(ratio, _RATIOS[0], _RATIOS[-1]))
    return np.asarray(CubicSpline(np.log(_RATIOS), np.eye(_RATIOS.size))(of))
