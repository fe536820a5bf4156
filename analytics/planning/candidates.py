"""Which jobs could be planned: each with its worth on every day, and what that rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analytics.answers.kinds import Kinds
from analytics.errors import PlanError
from analytics.estimate.replacement import ReplacementPolicy, replacement_policy
from analytics.planning.ahead import Ahead
from analytics.planning.inputs import PER_POSITION, Job, PlanInputs
from analytics.planning.problem import FloatArray
from analytics.planning.worth import failures_ahead, worth_by_day

GRID_STEPS = 240
SHARED_BY = 3.0
"""So many jobs share the days of a later visit: about what a plan holds. On the demo's known truth,
two years at a time, whole days for each job cost 5 % more, a tenth of them 4 % more."""
_LIVES = 4.0  # the grid of ages reaches to so many times the age at which one failure is expected
_DOUBLINGS = 60
_LEAST_COST = 1e-9  # a job that costs nothing has no best age but 0
_LAW = ["name", "locomotive", "component"]
_KEPT = ["job", "component", "position", "clock", "age", "a_day", "best_age", "failures", "law"]


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Jobs that a forecast makes worth doing.

    Attributes
    ----------
    jobs
        A row a job on one locomotive: name, locomotive.
    value : (rows of jobs, days) worth on each day
    places
        A row a position that a job renews: job (its row), component, position, clock, age (on the
        first day), a_day, best_age (NaN: not told), failures (over the horizon as it is), law (row
        of `grid`, -1 where none is told).
    grid, cumulative : (laws, ages) failures expected by each age
    """

    jobs: pd.DataFrame
    value: FloatArray
    places: pd.DataFrame
    grid: FloatArray
    cumulative: FloatArray

    def failures_if_done(self, job: int, day: int, days: int) -> float:
        """Return the failures to expect over the horizon if a job is done on a day."""
        mine = self.places[(self.places["job"] == job) & (self.places["law"] >= 0)]
        law = mine["law"].to_numpy(np.int64)
        age, a_day = (mine[name].to_numpy(np.float64) for name in ("age", "a_day"))
        before = failures_ahead(self.grid, self.cumulative, law, age, a_day * day)
        new = np.zeros(len(age))
        after = failures_ahead(self.grid, self.cumulative, law, new, a_day * (days - day))
        return float(before.sum() + after.sum())


def find_candidates(ahead: Ahead, inputs: PlanInputs, *, first_day: date, days: int) -> Candidates:
    """Weigh every job on every locomotive in use, on every day.

    Conventions
    -----------
    Worth is told of positions whose age is known and whose kind clearly fails more often with age,
    where a failure costs more than its share of the job (`worth_by_day`). Another position that the
    job renews as well costs its share and brings nothing. A failure costs its mean days down times
    the day out of traffic, and its mean cost on record or the planner's; planned alone, a position
    bears its share of the job and of a third of its days in the berth: a later visit holds other
    jobs as well. Jobs worth nothing on any day are left
    out; season is not in it.

    Raises
    ------
    PlanError
        If two jobs renew the same component.
    """
    _check_once(inputs.jobs)
    places = _places(ahead, inputs, first_day)
    told = places[places["told"]]
    laws = told.drop_duplicates(_LAW).reset_index(drop=True)
    of_law = pd.MultiIndex.from_frame(laws[_LAW]).get_indexer(pd.MultiIndex.from_frame(told[_LAW]))
    oldest = (told["age"] + told["a_day"] * days).groupby(of_law).max().to_numpy(np.float64)
    grid, cumulative = _tabulate(ahead.kinds, laws, oldest)
    worth = -np.repeat(places["within"].to_numpy(np.float64)[:, None], days, axis=1)
    law = np.full(len(places), -1, dtype=np.int64)
    more = {name: np.full(len(places), np.nan) for name in ("best_age", "failures")}
    if len(told):
        at = places["told"].to_numpy()
        law[at] = of_law
        policy = _policy(laws, grid, cumulative)
        age, a_day = (told[name].to_numpy(np.float64) for name in ("age", "a_day"))
        worth[at] = worth_by_day(
            policy, of_law, age, a_day, cost_failure=laws["failure"].to_numpy(np.float64),
            cost_within=told["within"].to_numpy(np.float64), days=days,
        )  # fmt: skip
        more["best_age"][at] = policy.best_age[of_law]
        more["failures"][at] = failures_ahead(grid, cumulative, of_law, age, a_day * days)
    return _worth_something(places.assign(law=law, **more), worth, grid, cumulative)


def _check_once(jobs: Sequence[Job]) -> None:
    seen: dict[str, str] = {}
    for job in jobs:
        for component in job.components:
            if component in seen:
                raise PlanError(
                    f"jobs {seen[component]!r} and {job.name!r} both renew {component}; a component"
                    " belongs to one job: take it out of one of them."
                )
            seen[component] = job.name


def _places(ahead: Ahead, inputs: PlanInputs, first_day: date) -> pd.DataFrame:
    """Return the positions that jobs renew, with what a failure and the job cost each."""
    in_use = ahead.fleet.loc[~ahead.fleet["stored"], "locomotive"]
    positions = ahead.positions[ahead.positions["locomotive"].isin(in_use)]
    shift = (first_day - ahead.tomorrow).days
    day_out = positions["class"].map(inputs.costs.day_out_of).astype("float64")
    each = positions["component"].map(inputs.costs.failure_of).astype("float64")
    positions = positions.assign(
        age=positions["age"] + shift * positions["a_day"],
        day_out=day_out,
        failure=positions["down_days"] * day_out + each.fillna(positions["cost_each"]),
    )
    prices = {spare.name: spare.cost for spare in inputs.spares}
    parts = [_of_job(positions, job, inputs.costs.labour_hour, prices) for job in inputs.jobs]
    none = positions.iloc[:0].assign(name="", per="", within=0.0, alone=0.0)
    found = pd.concat([none, *parts], ignore_index=True)
    told = found["rises"].eq(True) & found["start_known"].eq(True) & (found["a_day"] > 0)
    return found.assign(told=told & found["age"].notna() & (found["failure"] > found["within"]))


def _of_job(
    positions: pd.DataFrame, job: Job, labour_hour: float, prices: dict[str, float]
) -> pd.DataFrame:
    mine = positions[positions["component"].isin(job.components)]
    cost = job.cost + labour_hour * sum(job.hours.values())
    cost += sum(prices.get(name, 0.0) * number for name, number in job.parts.items())
    share = pd.Series(1.0, mine.index)
    if job.per != PER_POSITION:
        share = 1.0 / mine.groupby("locomotive")["component"].transform("size")
    return mine.assign(
        name=job.name,
        per=job.per,
        within=cost * share,
        alone=(cost + job.days * mine["day_out"] / SHARED_BY) * share,
    )


def _tabulate(
    kinds: Sequence[Kinds], laws: pd.DataFrame, oldest: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return even grids of age, one a law, and the failures that each age lets expect."""

    def expected(ages: FloatArray) -> FloatArray:
        wide = ages.shape[1]
        found = np.zeros(ages.shape)
        for number, of_clock in enumerate(kinds):
            rows = np.flatnonzero(laws["law_part"].to_numpy() == number)
            if rows.size:
                kind = np.repeat(laws["kind_law"].to_numpy(np.int64)[rows], wide)
                use = ages[rows].ravel()
                new, known = np.zeros(use.size), np.ones(use.size, dtype=bool)
                found[rows] = of_clock.usual(kind, new, use, known).reshape(-1, wide)
        times: FloatArray = found * laws["ratio"].to_numpy(np.float64)[:, None]
        return times

    end = np.ones((len(laws), 1))
    for _ in range(_DOUBLINGS):
        short = expected(end) < 1
        if not short.any():
            break
        end[short] *= 2
    end = np.maximum(_LIVES * end, oldest[:, None])
    grid = end * (np.arange(GRID_STEPS + 1) / GRID_STEPS)
    return grid, np.maximum.accumulate(expected(grid), axis=1)


def _policy(laws: pd.DataFrame, grid: FloatArray, cumulative: FloatArray) -> ReplacementPolicy:
    renewed = laws["renewed"].fillna(0.0).to_numpy(np.float64)
    failure, alone = (laws[name].to_numpy(np.float64) for name in ("failure", "alone"))
    return replacement_policy(
        grid,
        cumulative,
        renewed=renewed,
        cost_failure=failure,
        cost_planned=np.maximum(alone, 1e-9),
    )


def _worth_something(
    places: pd.DataFrame, worth: FloatArray, grid: FloatArray, cumulative: FloatArray
) -> Candidates:
    """Add positions up to jobs, and leave out those that are worth nothing on any day."""
    number = places["position"].where(places["per"] == PER_POSITION).astype("Float64").fillna(0)
    keys = places[["name", "locomotive"]].assign(number=number)
    job = np.asarray(keys.groupby(list(keys), sort=True).ngroup(), dtype=np.int64)
    value = np.zeros((int(job.max(initial=-1)) + 1, worth.shape[1]))
    np.add.at(value, job, worth)
    some = value.max(axis=1, initial=0.0) > 0
    jobs = keys.assign(job=job).drop_duplicates("job").sort_values("job")[["name", "locomotive"]]
    mine = some[job]
    kept = places[mine].assign(job=np.cumsum(some)[job[mine]] - 1)
    return Candidates(
        jobs=jobs[some].reset_index(drop=True),
        value=value[some],
        places=kept[_KEPT].reset_index(drop=True),
        grid=grid,
        cumulative=cumulative,
    )
