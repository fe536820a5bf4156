"""What a workshop planner hands in: berths, labour, jobs, spares, visits due, traffic, costs.

Read and checked by `analytics.planning.read_inputs`; nothing here is tested again. Days are
calendar days, the last one of every span included; hours are labour hours; costs are in one money
unit of the planner's own.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

EVERY_DAY = (0, 1, 2, 3, 4, 5, 6)
PER_LOCOMOTIVE, PER_POSITION = "locomotive", "position"


@dataclass(frozen=True, slots=True)
class Days:
    """On which days something holds: these weekdays (0 Monday), from first to last, not in between.

    `first` and `last` None: without end. `without` are spans (from, to) taken out, ends included.
    """

    weekdays: tuple[int, ...] = EVERY_DAY
    first: date | None = None
    last: date | None = None
    without: tuple[tuple[date, date], ...] = ()

    def hold_on(self, day: date) -> bool:
        """Tell whether a day is one of them."""
        return (
            day.weekday() in self.weekdays
            and (self.first is None or day >= self.first)
            and (self.last is None or day <= self.last)
            and not any(begin <= day <= end for begin, end in self.without)
        )


@dataclass(frozen=True, slots=True)
class Berth:
    """One place in the workshop for one locomotive at a time; empty classes or jobs: all."""

    name: str
    open: Days
    classes: tuple[str, ...] = ()
    jobs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Labour:
    """Hours of one skill on each of the days; several of one skill add up."""

    skill: str
    hours: float
    days: Days


@dataclass(frozen=True, slots=True)
class Job:
    """Work that renews what sits in the positions of some components.

    Attributes
    ----------
    per
        `locomotive`: all positions of these components of a locomotive at once; `position`: one
        position, so that a visit may hold several of it.
    days
        Days in the berth on which it is open, side by side with other jobs of the visit.
    hours, parts
        Labour hours by skill and pieces by spare, each time the job is done.
    cost
        Beside labour and spares.
    """

    name: str
    components: tuple[str, ...]
    days: int = 1
    per: str = PER_LOCOMOTIVE
    hours: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, int] = field(default_factory=dict)
    cost: float = 0.0


@dataclass(frozen=True, slots=True)
class Spare:
    """Pieces on hand when the plan begins and on order (due, number); `keep` are for failures."""

    name: str
    on_hand: int
    keep: int = 0
    cost: float = 0.0
    on_order: tuple[tuple[date, int], ...] = ()


@dataclass(frozen=True, slots=True)
class DueVisit:
    """A visit that a rule or the law asks for: begun no sooner than earliest, over by latest."""

    locomotive: str
    name: str
    earliest: date
    latest: date
    days: int = 1
    hours: Mapping[str, float] = field(default_factory=dict)
    parts: Mapping[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Traffic:
    """At least so many locomotives of a class stay out of the berths on each of the days."""

    class_name: str
    least: int
    days: Days


@dataclass(frozen=True, slots=True)
class Costs:
    """What a day out of traffic and an hour of labour cost.

    `failure_of` is the cost of one failure of a component, lost days apart, where the planner knows
    better than the costs on record (or there are none).
    """

    day_out: float
    labour_hour: float = 0.0
    day_out_of_class: Mapping[str, float] = field(default_factory=dict)
    failure_of: Mapping[str, float] = field(default_factory=dict)

    def day_out_of(self, class_name: str) -> float:
        """Return the cost of a day out of traffic for a locomotive of a class."""
        return self.day_out_of_class.get(class_name, self.day_out)


@dataclass(frozen=True, slots=True)
class PlanInputs:
    """All that a planner hands in.

    `first_day` None: the day after the data cut. `mend_days` and `mend_hours` are what mending a
    defect that keeps a locomotive out of traffic takes where no job covers its component.
    """

    costs: Costs
    berths: tuple[Berth, ...]
    labour: tuple[Labour, ...] = ()
    jobs: tuple[Job, ...] = ()
    spares: tuple[Spare, ...] = ()
    visits: tuple[DueVisit, ...] = ()
    traffic: tuple[Traffic, ...] = ()
    weeks: int = 8
    first_day: date | None = None
    mend_days: int = 1
    mend_hours: Mapping[str, float] = field(default_factory=dict)
