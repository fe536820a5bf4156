"""Which limits clash: a smallest set that no plan can keep together.

References
----------
Junker, U. (2004) QuickXplain: preferred explanations and relaxations for over-constrained problems.
Proceedings of the 19th National Conference on Artificial Intelligence (AAAI), 167-172.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from math import comb

import numpy as np

from analytics.planning.musts import find_musts
from analytics.planning.problem import Problem
from analytics.planning.visits import lay_out

BERTHS, LABOUR, SUPPLY, TRAFFIC = "berths", "labour", "supply", "traffic"
MUST, PIN = "must", "pin"
_NO_LIMIT = 1_000_000
_ORDERS, _MOST_SETS, _SEED = 4, 400, 2004
_SHARE_OF_ONE = 0.25


@dataclass(frozen=True, slots=True, order=True)
class Limit:
    """One limit, by its kind and its index in the problem.

    `berths` of a group, `labour` of a skill, `supply` of a spare, `traffic` of a class, a `must`
    job, or a `pin`.
    """

    kind: str
    index: int


def clashing(problem: Problem, *, seconds: float = 20.0) -> tuple[Limit, ...]:
    """Find a small set of limits that no plan can keep together, each of which is needed for it.

    Parameters
    ----------
    problem
        What is to be planned.
    seconds
        Time given. The first set found is returned however long it takes; a smaller one is looked
        for while time lasts.

    Returns
    -------
    tuple of Limit
        Leaving any one out, the others can be kept. Empty where a plan keeps all limits, or where
        the time was too short to prove that none does.

    Conventions
    -----------
    Without its limit a group has as many berths as are asked for, on its open days; a skill, a
    spare or a class has no limit; a job need not be done; a visit need not be made. When a
    locomotive is free, which group takes what, from when and until when a job may be done, and
    that a locomotive is in one place at a time are not up for choice.

    Limits
    ------
    Where few sets are smaller than the one found, all of them are tried and it is a smallest one;
    else it is the smallest of several found in other orders. A question that takes longer than a
    quarter of the time is taken to have a plan; the set may then hold more than is needed.
    """
    begun = time.perf_counter()
    bare = _only_musts(problem)
    known: dict[frozenset[Limit], bool] = {}

    def clash(limits: Sequence[Limit]) -> bool:
        asked = frozenset(limits)
        if asked not in known:
            left_in = _with_only(bare, asked)
            found = find_musts(lay_out(left_in), seconds=max(seconds * _SHARE_OF_ONE, 1.0))
            known[asked] = found.impossible
        return known[asked]

    limits = _all_limits(bare)
    if not clash(limits):
        return ()
    named = _named(problem, _smallest(limits, clash, lambda: time.perf_counter() - begun < seconds))
    return tuple(sorted(named))


def _smallest(
    limits: list[Limit], clash: Callable[[Sequence[Limit]], bool], has_time: Callable[[], bool]
) -> list[Limit]:
    """Reduce the limits in several orders, then try whatever is smaller."""
    alone = [limit for limit in limits if limit.kind in (MUST, PIN)]
    # What must be done and can be done nowhere: found at once, and nothing is smaller.
    for limit in alone:
        if has_time() and clash([limit]):
            return [limit]
    rng = np.random.default_rng(_SEED)
    best = _reduce([], limits, clash, known_to_clash=False)
    for _ in range(_ORDERS):
        if len(best) <= 2 or not has_time():
            break
        order = [limits[at] for at in rng.permutation(len(limits))]
        found = _reduce([], order, clash, known_to_clash=False)
        best = min(best, found, key=len)
    for size in range(2, len(best)):
        if comb(len(limits), size) > _MOST_SETS or not has_time():
            break
        for some in combinations(limits, size):
            if clash(some):
                return list(some)
    return best


def _reduce(
    held: list[Limit],
    limits: list[Limit],
    clash: Callable[[Sequence[Limit]], bool],
    *,
    known_to_clash: bool,
) -> list[Limit]:
    """Return those of the limits that are needed, with those held, for a clash (halving)."""
    if known_to_clash and clash(held):
        return []
    if len(limits) == 1:
        return limits
    half = len(limits) // 2
    first, second = limits[:half], limits[half:]
    of_second = _reduce(held + first, second, clash, known_to_clash=bool(first))
    of_first = _reduce(held + of_second, first, clash, known_to_clash=bool(of_second))
    return of_first + of_second


def _only_musts(problem: Problem) -> Problem:
    """Leave out jobs that need not be done: they make nothing impossible."""
    must = np.flatnonzero(problem.must)
    return replace(
        problem,
        locomotive=problem.locomotive[must],
        days=problem.days[must],
        value=problem.value[must],
        end_by=problem.end_by[must],
        must=problem.must[must],
        hours=problem.hours[must],
        parts=problem.parts[must],
        fits=problem.fits[must],
    )


def _all_limits(bare: Problem) -> list[Limit]:
    """Every limit that can matter, shared ones last."""
    used = bare.hours.any(axis=0), bare.parts.any(axis=0)
    limits = [Limit(MUST, job) for job in range(bare.days.size)]
    limits += [Limit(PIN, pin) for pin in range(bare.pin_day.size)]
    limits += [Limit(BERTHS, group) for group in range(bare.berths.shape[0])]
    limits += [Limit(LABOUR, int(skill)) for skill in np.flatnonzero(used[0])]
    limits += [Limit(SUPPLY, int(spare)) for spare in np.flatnonzero(used[1])]
    return limits + [Limit(TRAFFIC, one) for one in range(bare.absent_most.shape[0])]


def _with_only(bare: Problem, limits: frozenset[Limit]) -> Problem:
    """Return the problem without all other limits."""

    def has(kind: str, count: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        return np.array([Limit(kind, index) in limits for index in range(count)], dtype=np.bool_)

    group = has(BERTHS, bare.berths.shape[0])[:, None]
    pins = has(PIN, bare.pin_day.size)
    return replace(
        bare,
        berths=np.where(group | (bare.berths == 0), bare.berths, _NO_LIMIT),
        labour=np.where(has(LABOUR, bare.labour.shape[0])[:, None], bare.labour, np.inf),
        supply=np.where(has(SUPPLY, bare.supply.shape[0])[:, None], bare.supply, _NO_LIMIT),
        absent_most=np.where(
            has(TRAFFIC, bare.absent_most.shape[0])[:, None], bare.absent_most, _NO_LIMIT
        ),
        must=has(MUST, bare.days.size),
        pin_locomotive=bare.pin_locomotive[pins],
        pin_day=bare.pin_day[pins],
    )


def _named(problem: Problem, limits: list[Limit]) -> list[Limit]:
    """Number jobs as the whole problem does."""
    must = np.flatnonzero(problem.must)
    return [
        Limit(MUST, int(must[limit.index])) if limit.kind == MUST else limit for limit in limits
    ]
