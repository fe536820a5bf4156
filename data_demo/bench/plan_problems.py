"""Plans to make: invented fleets, workshops and jobs, in the shape of real ones."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from analytics.planning.problem import BoolArray, FloatArray, IntArray, Problem

CLASSES, SKILLS, SPARES, KINDS = 3, 3, 6, 16
WEEK = 7
DAY_COST = (900.0, 1_200.0, 1_600.0)
MEND_WITHIN, LABOUR = 13, 4.0
CHANCE_OF_MUST, CHANCE_STANDING = 0.25, 0.03
_DAYS = np.array([1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 3, 3, 5])


@dataclass(frozen=True, slots=True, eq=False)
class _Kinds:
    """What the jobs of one kind have in common: (KINDS, ...) each."""

    days: IntArray
    hours: FloatArray
    parts: IntArray
    gain: FloatArray
    life: FloatArray
    shape: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class _Jobs:
    """Jobs by forecast, then visits due, then mends of locomotives that stand."""

    locomotive: IntArray
    days: IntArray
    value: FloatArray
    end_by: IntArray
    must: BoolArray
    hours: FloatArray
    parts: IntArray


def made_up_problem(rng: Generator, locomotives: int, weeks: int, berths: int) -> Problem:
    """Draw a plan to make.

    Parameters
    ----------
    rng
        Source of chance.
    locomotives, weeks, berths
        Size of the fleet, of the horizon and of the workshop.

    Conventions
    -----------
    Berths come in up to three groups: the workshop on weekdays, places where only short jobs are
    done on every day, and one from Monday to Saturday that does not take the first class. A job is
    worth less than nothing on a young part and more with age, until so much has been risked that
    little is left to save. A quarter of the locomotives have a visit due by a rule, in a window of
    two to four weeks; three in a hundred stand and wait for a mend. Labour and spares are a little
    short of what full berths would use.
    """
    days = weeks * WEEK
    kinds = _kinds(rng)
    class_of = np.sort(rng.integers(0, CLASSES, locomotives))
    standing = rng.random(locomotives) < CHANCE_STANDING
    jobs = _jobs(rng, kinds, locomotives, days, standing)
    open_berths, takes, short_only = _berths(rng, class_of, days, berths)
    used = kinds.hours.sum(axis=0) / kinds.days.sum()
    weekday = np.where(np.arange(days) % WEEK < 5, 1.0, 0.45)
    labour = used[:, None] * (LABOUR * berths) * weekday * rng.uniform(0.85, 1.0, (SKILLS, 1))
    fits = ~short_only[None, :] | (jobs.days <= 2)[:, None]
    day_cost = np.asarray(DAY_COST)[class_of][:, None] * np.where(
        np.arange(days) % WEEK < 5, 1.0, 0.8
    )
    day_cost[standing] = 0.0
    return Problem(
        berths=open_berths,
        takes=takes,
        free=_free(rng, locomotives, days),
        day_cost=day_cost,
        class_of=class_of,
        absent_most=_absent(rng, class_of, days, berths),
        labour=np.round(labour, 1),
        supply=_supply(rng, jobs.parts, days, berths / locomotives),
        locomotive=jobs.locomotive,
        days=jobs.days,
        value=jobs.value,
        end_by=jobs.end_by,
        must=jobs.must,
        hours=jobs.hours,
        parts=jobs.parts,
        fits=fits,
        pin_locomotive=np.zeros(0, dtype=np.int64),
        pin_day=np.zeros(0, dtype=np.int64),
    )


def _kinds(rng: Generator) -> _Kinds:
    hours = rng.uniform(2, 10, (KINDS, SKILLS)) * (rng.random((KINDS, SKILLS)) < 0.5)
    hours[:, 0] += 2.0
    return _Kinds(
        days=_DAYS,
        hours=np.round(hours * _DAYS[:, None], 1),
        parts=(rng.random((KINDS, SPARES)) < 0.15) * rng.integers(1, 3, (KINDS, SPARES)),
        gain=rng.lognormal(8.3, 0.5, KINDS) * np.sqrt(_DAYS),
        life=rng.uniform(150, 900, KINDS),
        shape=rng.uniform(1.3, 3.5, KINDS),
    )


def _jobs(rng: Generator, kinds: _Kinds, locomotives: int, days: int, standing: BoolArray) -> _Jobs:
    loco, kind = np.nonzero(rng.random((locomotives, KINDS)) < 0.65)
    age = rng.uniform(0, 1.3, loco.size) * kinds.life[kind]
    value = _values(age, kinds, kind, days)
    keep = value.max(axis=1) > 0
    loco, kind, value = loco[keep], kind[keep], value[keep]
    due = np.flatnonzero(rng.random(locomotives) < CHANCE_OF_MUST)
    earliest = rng.integers(0, max(days - 14, 1), due.size)
    latest = np.minimum(earliest + rng.integers(13, 28, due.size), days - 1)
    due_days = rng.choice([1, 2, 3], due.size, p=[0.5, 0.3, 0.2])
    mend = np.flatnonzero(standing)
    due_value = np.where(np.arange(days) < earliest[:, None], -np.inf, -300.0 * due_days[:, None])
    mend_value = np.tile(-100.0 * np.arange(days), (mend.size, 1)) - 200.0
    count = due.size + mend.size
    days_of = np.concatenate([kinds.days[kind], due_days, np.ones(mend.size, dtype=np.int64)])
    extra = np.zeros((count, SKILLS))
    extra[:, 0] = 8.0 * days_of[kind.size :]
    return _Jobs(
        locomotive=np.concatenate([loco, due, mend]),
        days=days_of.astype(np.int64),
        value=np.concatenate([value, due_value, mend_value]),
        end_by=np.concatenate(
            [np.full(loco.size, days - 1), latest, np.full(mend.size, min(MEND_WITHIN, days - 1))]
        ),
        must=np.arange(loco.size + count) >= loco.size,
        hours=np.concatenate([kinds.hours[kind], extra]),
        parts=np.concatenate([kinds.parts[kind], np.zeros((count, SPARES), dtype=np.int64)]),
    )


def _values(age: FloatArray, kinds: _Kinds, kind: IntArray, days: int) -> FloatArray:
    """Worth of renewal on each day: what is saved of the rest of the horizon, less the cost."""
    day = np.arange(days)
    life, shape = kinds.life[kind][:, None], kinds.shape[kind][:, None]
    begun = ((age[:, None] + day) / life) ** shape
    risked = begun - (age[:, None] / life) ** shape
    ahead = 1 - np.exp(-0.5 * begun)
    gain = kinds.gain[kind][:, None]
    worth: FloatArray = np.exp(-0.4 * risked) * gain * (ahead - 0.28) * (1 - 0.3 * day / days)
    return np.round(worth, 2)


def _berths(
    rng: Generator, class_of: IntArray, days: int, berths: int
) -> tuple[IntArray, BoolArray, BoolArray]:
    weekday = np.arange(days) % WEEK
    holiday = rng.random(days) < 0.02
    patterns = np.stack([weekday < 5, weekday < 7, weekday < 6]) & ~holiday
    patterns[1] = True
    sizes = np.array([berths - 2 * (berths // 4), berths // 4, berths // 4])
    if berths // 4 == 0:
        sizes = np.array([berths - berths // 3, berths // 3, 0])
    there = sizes > 0
    takes = np.ones((3, class_of.size), dtype=np.bool_)
    takes[2] = class_of != 0
    only_short = np.array([False, True, False])
    return (patterns * sizes[:, None])[there], takes[there], only_short[there]


def _free(rng: Generator, locomotives: int, days: int) -> BoolArray:
    free = np.ones((locomotives, days), dtype=np.bool_)
    away = np.flatnonzero(rng.random(locomotives) < 0.15)
    first = rng.integers(0, days, away.size)
    day = np.arange(days)
    free[away] = (day < first[:, None]) | (day > first[:, None] + 5)
    return free


def _absent(rng: Generator, class_of: IntArray, days: int, berths: int) -> IntArray:
    share = np.bincount(class_of, minlength=CLASSES) / class_of.size
    most = np.ceil(share * berths * 1.4).astype(np.int64)
    busy = np.arange(days) // WEEK == rng.integers(0, days // WEEK)
    return np.where(busy, np.maximum(most[:, None] - 1, 1), most[:, None])


def _supply(rng: Generator, parts: IntArray, days: int, scarcity: float) -> IntArray:
    wanted = parts.sum(axis=0)
    share = np.minimum(scarcity * days * 0.2, 0.8)
    start = np.ceil(wanted * share * rng.uniform(0.2, 0.7, SPARES)).astype(np.int64)
    more = np.ceil(wanted * share * rng.uniform(0.1, 0.5, SPARES)).astype(np.int64)
    arrives = rng.integers(5, days, SPARES)
    pieces: IntArray = start[:, None] + more[:, None] * (np.arange(days) >= arrives[:, None])
    return pieces
