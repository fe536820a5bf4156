"""A berth plan as it is shown, kept and compared: visits with their jobs, and who is left out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date


@dataclass(frozen=True, slots=True)
class PlannedJob:
    """One piece of work in a visit.

    `kind` is `job` (worth doing by the forecast), `due` (asked for by a rule) or `mend` (a defect
    found and open). `positions` are those it renews, empty where it names none. `hours` by skill
    and `parts` by spare are what it takes; `days` its open days; `value` what it is worth on its
    day; `failures` those expected over the horizon if it is not done, `failures_if_done` if it is.
    """

    name: str
    kind: str
    components: tuple[str, ...]
    positions: tuple[int, ...]
    days: int
    hours: dict[str, float]
    parts: dict[str, int]
    value: float
    failures: float = 0.0
    failures_if_done: float = 0.0


@dataclass(frozen=True, slots=True)
class Visit:
    """One locomotive in one berth, from its first to its last day, both included."""

    locomotive: str
    class_name: str
    berth: str
    first: date
    last: date
    jobs: tuple[PlannedJob, ...]
    day_cost: float
    reason: str

    @property
    def value(self) -> float:
        """What the visit is worth: its jobs, less the days out of traffic."""
        return sum(job.value for job in self.jobs) - self.day_cost


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A locomotive without a visit, and why; `worth` is its best visit were all berths free."""

    locomotive: str
    class_name: str
    expected: float
    worth: float
    reason: str


@dataclass(frozen=True, slots=True)
class Worth:
    """What one more of something would be worth: the plan and the bound solved again with it."""

    what: str
    name: str
    day: date | None
    gain: float
    gain_of_bound: float


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan over `days` days from `first_day`; no plan within its limits is worth above `bound`.

    `pins` are (locomotive, day) and `forbidden` (locomotive or empty for all, day), as asked.
    `data` names the snapshot it rests on, `known_to` the data cut, `fleet` how many locomotives of
    each class are in traffic but for the plan.
    """

    first_day: date
    days: int
    visits: tuple[Visit, ...]
    left_out: tuple[LeftOut, ...]
    value: float
    bound: float
    seconds: float
    data: str
    known_to: date
    pins: tuple[tuple[str, date], ...] = ()
    forbidden: tuple[tuple[str, date], ...] = ()
    worth: tuple[Worth, ...] = ()
    fleet: dict[str, int] = field(default_factory=dict)

    @property
    def gap(self) -> float:
        """How far the bound lies above the plan, as a share of the greater of the two in size."""
        size = max(abs(self.value), abs(self.bound))
        return (self.bound - self.value) / size if size > 0 else 0.0
