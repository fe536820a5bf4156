"""A small plan and its limits by hand, clean: the tests of the checks break one thing of it."""

from __future__ import annotations

from datetime import date

from analytics.planning.inputs import (
    Berth,
    Costs,
    Days,
    DueVisit,
    Job,
    Labour,
    PlanInputs,
    Spare,
    Traffic,
)
from analytics.planning.plan import LeftOut, Plan, PlannedJob, Visit

MONDAY = date(2026, 6, 1)
WORKDAYS = Days((0, 1, 2, 3, 4))
CLASSES = {"A-01": "Alder", "A-02": "Alder", "A-03": "Alder", "R-01": "Rowan"}
INPUTS = PlanInputs(
    costs=Costs(100.0),
    berths=(Berth("1", WORKDAYS), Berth("2", Days((0, 1, 2, 3, 4, 5)), classes=("Alder",))),
    labour=(Labour("fitter", 16.0, Days()),),
    jobs=(
        Job("injectors", ("fuel-injector",), 1, hours={"fitter": 8.0}, parts={"set": 1}),
        Job("bearing", ("traction-motor-bearing",), 2, "position", hours={"fitter": 10.0}),
    ),
    spares=(Spare("set", 2, keep=1, on_order=((date(2026, 6, 10), 1),)),),
    visits=(DueVisit("A-03", "inspection", date(2026, 6, 3), date(2026, 6, 12), 2),),
    traffic=(Traffic("Alder", 2, Days()),),
    weeks=2,
)


def job(name: str, kind: str = "job", days: int = 1, **more: object) -> PlannedJob:
    asked = {one.name: one for one in INPUTS.jobs}.get(name)
    return PlannedJob(
        name,
        kind,
        asked.components if asked else (),
        more.get("positions", ()),  # type: ignore[arg-type]
        asked.days if asked else days,
        dict(asked.hours) if asked else {},
        dict(asked.parts) if asked else {},
        50.0,
    )


def visit(name: str, berth: str, first: int, last: int, *jobs: PlannedJob) -> Visit:
    days = last - first + 1
    begin, end = date(2026, 6, first), date(2026, 6, last)
    return Visit(name, CLASSES[name], berth, begin, end, jobs, 100.0 * days, "because")


VISITS = (
    visit("A-01", "1", 1, 1, job("injectors")),
    visit("A-03", "2", 3, 4, job("inspection", "due", 2)),
    visit("A-02", "1", 5, 8, job("bearing", positions=(3,))),
    visit("R-01", "1", 10, 10, job("injectors")),
)


def plan(visits: tuple[Visit, ...] = VISITS, **more: object) -> Plan:
    return Plan(
        MONDAY, 14, visits, (LeftOut("R-02", "Rowan", 1.0, 2.0, "why"),), 10.0, 12.0, 0.1, "data",
        date(2026, 5, 31), **more,  # type: ignore[arg-type]
    )  # fmt: skip
