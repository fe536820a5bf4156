"""Two years simulated on the demo's known truth: following the plan against other ways to go on.

Every locomotive goes on from the ages of the record's end; defects come by the laws the railway was
drawn from, at the locomotive's own true rate. Each way meets the same chance: one number drawn for
each position and day. All ways do the visits that a rule asks for; they differ in the jobs.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from scipy import stats

from analytics.catalogue.model import Catalogue
from analytics.planning.again import read_store_inputs
from analytics.planning.ahead import Ahead, as_of, read_ahead
from analytics.planning.build import build
from analytics.planning.candidates import Candidates, find_candidates
from analytics.planning.greedy import greedy
from analytics.planning.inputs import PER_POSITION, DueVisit, Job, PlanInputs
from analytics.planning.make import Wishes, plan_ahead
from analytics.planning.plan import Visit
from analytics.planning.unbuild import visits_of
from analytics.planning.work_list import DUE, JOB, list_work
from data_demo.arrays import Flags, Floats, Ints
from data_demo.laws import law_of
from data_demo.scenario import Scenario
from data_demo.simulate import simulate

STEP_DAYS = 28
"""So often a new plan is made; what it holds for these days is done."""
DUE_EVERY, DUE_BEFORE, DUE_AFTER, DUE_DAYS = 360, 21, 14, 2
_YEAR, _MID_JANUARY = 365.25, 15

Way = Callable[["Fleet", date], Sequence[Visit]]
"""What is done in the next weeks: visits, from the fleet as it is and the first day."""


@dataclass(slots=True)
class Fleet:
    """Positions that jobs renew, with their true laws and what is known of them.

    `row` is each one's row in `ahead.positions`; arrays have shape (n,).
    """

    ahead: Ahead
    catalogue: Catalogue
    inputs: PlanInputs
    row: Ints
    age: Floats
    a_day: Floats
    shape: Floats
    scale: Floats
    renew: Floats
    season: Floats
    rate: Floats
    failure: Floats
    due: dict[str, date]

    @property
    def failure_of(self) -> dict[str, float]:
        """The mean cost of a failure of each component."""
        mine = self.ahead.positions["component"].to_numpy()[self.row]
        return dict(pd.Series(self.failure).groupby(mine).mean())

    def limits(self, first_day: date) -> PlanInputs:
        """Return the inputs of a plan from a day on, with the visits due from then."""
        last = first_day + timedelta(days=7 * self.inputs.weeks)
        visits = tuple(
            DueVisit(
                name, "frame inspection", due - timedelta(days=DUE_BEFORE),
                due + timedelta(days=DUE_AFTER), DUE_DAYS, {"fitter": 16.0},
            )
            for name, due in sorted(self.due.items())
            if due - timedelta(days=DUE_BEFORE) < last
        )  # fmt: skip
        return replace(self.inputs, visits=visits, first_day=first_day)

    def known(self, first_day: date) -> Ahead:
        """Return what a planner knows on a day: the ages, and the laws as fitted at the start."""
        ages = self.ahead.positions["age"].to_numpy(np.float64).copy()
        ages[self.row] = self.age
        return as_of(self.ahead, ages, known_to=first_day - timedelta(days=1))


def run_to_failure(fleet: Fleet, first_day: date) -> Sequence[Visit]:
    """Do only what a rule asks for, at its due date."""
    end = first_day + timedelta(days=STEP_DAYS)
    return [
        Visit(name, fleet.ahead.classes[name], "", due, due + timedelta(days=DUE_DAYS - 1), (),
              DUE_DAYS * fleet.inputs.costs.day_out_of(fleet.ahead.classes[name]), DUE)
        for name, due in fleet.due.items()
        if due < end
    ]  # fmt: skip


def by_plan(fleet: Fleet, first_day: date, *, seconds: float = 5.0) -> Sequence[Visit]:
    """Make a plan and do its first weeks."""
    wishes = Wishes(seconds=seconds, gap=0.01)
    plan = plan_ahead(fleet.known(first_day), fleet.limits(first_day), fleet.catalogue, wishes)
    return plan.visits


def by_greed(fleet: Fleet, first_day: date, *, weighed: bool = False) -> Sequence[Visit]:
    """Fill the berths, the locomotive most likely to fail first, each on its earliest day.

    Its jobs are those whose failures saved over the horizon cost more than the job: what one would
    do without weighing what lies beyond the horizon. `weighed`: jobs have the plan's own worth, so
    that only the search is missing.
    """
    inputs, known = fleet.limits(first_day), fleet.known(first_day)
    days = 7 * inputs.weeks
    found = find_candidates(known, inputs, first_day=first_day, days=days)
    if not weighed:
        saved = _saved(fleet, found, inputs, days)
        found = replace(found, value=np.repeat(np.maximum(saved, -1.0)[:, None], days, axis=1))
    work = list_work(known, inputs, found, fleet.catalogue, first_day)
    built = build(known, inputs, work, first_day=first_day, days=days)
    failures = found.places.groupby("job")["failures"].sum()
    likely = failures.groupby(found.jobs["locomotive"]).max().reindex(built.locomotives)
    order = np.argsort(-likely.fillna(0.0).to_numpy(), kind="stable")
    solution = greedy(built.problem, order=order)
    return visits_of(built, solution, found)


def _saved(fleet: Fleet, found: Candidates, inputs: PlanInputs, days: int) -> Floats:
    """Return what each job saves over the horizon if it is done at once, less its cost."""
    prices = {spare.name: spare.cost for spare in inputs.spares}
    jobs = {job.name: _cost_of(job, inputs.costs.labour_hour, prices) for job in inputs.jobs}
    places = found.places[found.places["law"] >= 0]
    each = places["component"].map(fleet.failure_of).to_numpy(np.float64)
    lost = (places["failures"] * each).groupby(places["job"]).sum()
    left = np.array([found.failures_if_done(row, 0, days) for row in range(len(found.jobs))])
    failures = places.groupby("job")["failures"].sum()
    mean = (lost / failures.where(failures > 0)).reindex(range(len(found.jobs))).fillna(0.0)
    cost = found.jobs["name"].map(jobs).to_numpy(np.float64)
    before = lost.reindex(range(len(found.jobs))).fillna(0.0).to_numpy()
    saved: Floats = before - left * mean.to_numpy() - cost
    return saved


def _cost_of(job: Job, labour_hour: float, prices: dict[str, float]) -> float:
    parts = sum(prices.get(name, 0.0) * number for name, number in job.parts.items())
    return job.cost + labour_hour * sum(job.hours.values()) + parts


def lay_fleet(
    ahead: Ahead, inputs: PlanInputs, catalogue: Catalogue, rates: pd.Series[float]
) -> Fleet:
    """Put the positions that jobs renew beside their true laws.

    Parameters
    ----------
    ahead
        The fleet at the end of the record.
    rates
        By locomotive: how many times the usual it really fails.
    """
    covered = [name for job in inputs.jobs for name in job.components]
    positions = ahead.positions
    row = np.flatnonzero(positions["component"].isin(covered) & positions["age"].notna())
    mine = positions.iloc[row]
    laws = [law_of(catalogue, c, k) for c, k in zip(mine["component"], mine["class"], strict=True)]

    def of(name: str) -> Floats:
        return np.array([getattr(law, name) for law in laws], dtype=np.float64)

    day_out = mine["class"].map(inputs.costs.day_out_of)
    failure = (mine["down_days"] * day_out + mine["cost_each"]).to_numpy(np.float64)
    names = sorted(ahead.classes)
    spread = np.linspace(0, DUE_EVERY, len(names), endpoint=False).astype(int)
    due = {n: ahead.tomorrow + timedelta(days=int(d)) for n, d in zip(names, spread, strict=True)}
    return Fleet(
        ahead, catalogue, inputs, row, mine["age"].to_numpy(np.float64).copy(),
        mine["a_day"].fillna(0.0).to_numpy(np.float64), of("shape"), of("scale"), of("renew"),
        of("season"), mine["locomotive"].map(rates).to_numpy(np.float64), failure, due,
    )  # fmt: skip


def follow(fleet: Fleet, way: Way, rng: np.random.Generator, *, steps: int) -> dict[str, float]:
    """Go on for so many steps; return costs by kind, and how many failures and visits there were.

    The same generator state gives the same chance to every way.
    """
    chance = rng.random((steps * STEP_DAYS, 2, fleet.row.size))
    totals = {"failures": 0.0, "visits": 0.0, "cost_failures": 0.0, "cost_visits": 0.0}
    start = fleet.ahead.tomorrow
    for step in range(steps):
        first_day = start + timedelta(days=step * STEP_DAYS)
        end = first_day + timedelta(days=STEP_DAYS)
        visits = [visit for visit in way(fleet, first_day) if visit.first < end]
        _count_visits(fleet, visits, totals)
        renewed = _renewed(fleet, visits)
        for number in range(STEP_DAYS):
            day = first_day + timedelta(days=number)
            fleet.age[renewed.get(day, [])] = 0.0
            failed = _one_day(fleet, day, chance[(day - start).days])
            totals["failures"] += float(failed.sum())
            totals["cost_failures"] += float(fleet.failure[failed].sum())
    totals["cost"] = totals["cost_failures"] + totals["cost_visits"]
    return totals


def _count_visits(fleet: Fleet, visits: Sequence[Visit], totals: dict[str, float]) -> None:
    prices = {spare.name: spare.cost for spare in fleet.inputs.spares}
    jobs = {job.name: job for job in fleet.inputs.jobs}
    for visit in visits:
        totals["visits"] += 1
        totals["cost_visits"] += visit.day_cost
        for job in visit.jobs:
            if job.kind == JOB:
                cost = _cost_of(jobs[job.name], fleet.inputs.costs.labour_hour, prices)
                totals["cost_visits"] += cost
        if visit.reason == DUE or any(job.kind == DUE for job in visit.jobs):
            fleet.due[visit.locomotive] += timedelta(days=DUE_EVERY)


def _renewed(fleet: Fleet, visits: Sequence[Visit]) -> dict[date, list[int]]:
    """Return which positions are renewed on which day."""
    mine = fleet.ahead.positions.iloc[fleet.row]
    keys = zip(mine["locomotive"], mine["component"], mine["position"].astype(int), strict=True)
    at = {key: number for number, key in enumerate(keys)}
    whole: dict[tuple[str, str], list[int]] = {}
    for (locomotive, component, _), number in at.items():
        whole.setdefault((locomotive, component), []).append(number)
    per = {job.name: job.per for job in fleet.inputs.jobs}
    found: dict[date, list[int]] = {}
    for visit in visits:
        for job in (one for one in visit.jobs if one.kind == JOB):
            for component in job.components:
                rows = whole.get((visit.locomotive, component), [])
                if per[job.name] == PER_POSITION:
                    rows = [at[visit.locomotive, component, n] for n in job.positions]
                found.setdefault(visit.first, []).extend(rows)
    return found


def _one_day(fleet: Fleet, day: date, chance: Floats) -> Flags:
    """Let the fleet run a day; return which positions failed."""
    turn = 2 * np.pi * (day.timetuple().tm_yday - _MID_JANUARY) / _YEAR
    season = 1 + fleet.season * np.cos(turn)
    before = (fleet.age / fleet.scale) ** fleet.shape
    fleet.age += fleet.a_day
    rise = (fleet.age / fleet.scale) ** fleet.shape - before
    failed: Flags = chance[0] < -np.expm1(-season * fleet.rate * rise / fleet.renew)
    fleet.age[failed & (chance[1] < fleet.renew)] = 0.0
    return failed


@dataclass(frozen=True, slots=True)
class Compared:
    """Mean cost of each way, and by how much the plan's lies below it, with bounds at 90 %."""

    way: str
    cost: float
    failures: float
    visits: float
    saved: float
    saved_lower: float
    saved_upper: float


def compare_ways(
    make: Callable[[], Fleet], ways: dict[str, Way], *, runs: int, steps: int, seed: int
) -> list[Compared]:
    """Follow each way through the same runs; the first way is the one that the others are held to.

    Bounds of the mean paired difference are Student's t.
    """
    rows = {name: [] for name in ways}  # type: dict[str, list[dict[str, float]]]
    for run in range(runs):
        for name, way in ways.items():
            rng = np.random.default_rng([seed, run])
            rows[name].append(follow(make(), way, rng, steps=steps))
    first = np.array([one["cost"] for one in next(iter(rows.values()))])
    found = []
    for name, each in rows.items():
        cost = np.array([one["cost"] for one in each])
        saved = cost - first
        reach = 0.0
        if runs > 1:
            reach = float(stats.t.ppf(0.95, runs - 1) * saved.std(ddof=1) / np.sqrt(runs))
        mean = {key: float(np.mean([one[key] for one in each])) for key in ("failures", "visits")}
        found.append(
            Compared(
                name, float(cost.mean()), mean["failures"], mean["visits"], float(saved.mean()),
                float(saved.mean()) - reach, float(saved.mean()) + reach,
            )
        )  # fmt: skip
    return found


WAYS: dict[str, Way] = {
    "plan": by_plan,
    "greedy": by_greed,
    "greedy, weighed": partial(by_greed, weighed=True),
    "run to failure": run_to_failure,
}


def run(folder: Path | None, *, runs: int, seed: int, out: Path | None, steps: int = 26) -> None:
    """Make the demo, follow every way through two years of it, print and keep what they cost."""
    from data_demo.build import build  # hands a whole railway in

    with TemporaryDirectory() as scratch:
        store = build(folder or Path(scratch) / "railway")
        with store.read() as reader:
            catalogue = reader.catalogue
            inputs = read_store_inputs(store, store.root / "planning.toml")
            ahead = read_ahead(reader, days=7 * inputs.weeks)
    lives = simulate(Scenario(), catalogue).lives
    rates = lives.groupby(lives["locomotive"].astype(str))["rate"].first()
    found = compare_ways(
        lambda: lay_fleet(ahead, inputs, catalogue, rates), WAYS, runs=runs, steps=steps, seed=seed
    )
    days = steps * STEP_DAYS
    print(f"{len(ahead.fleet)} locomotives, {days} days, {runs} runs; cost, 90 % bounds of what")
    print("following the plan saves (Student's t of paired differences)")
    for one in found:
        share = one.saved / one.cost if one.cost else 0.0
        print(
            f"{one.way:<16} cost {one.cost:>12,.0f}  failures {one.failures:>7,.0f}  visits"
            f" {one.visits:>5,.0f}  saved {one.saved:>10,.0f} [{one.saved_lower:,.0f},"
            f" {one.saved_upper:,.0f}] {100 * share:.1f} %"
        )
    if out is not None:
        kept = {
            "made": date.today().isoformat(), "seed": seed, "runs": runs, "days": days,
            "ways": [asdict(one) for one in found],
        }  # fmt: skip
        out.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
