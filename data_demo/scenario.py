"""The invented railway as it was drawn up: operator, depots and their habits, fleet, size, seed.

Operator and places are invented words. Nothing here is taken from a real railway: the figures are
of the right order for the trade (common practice, no source) and are the known truth against which
the answers can be held.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from analytics.errors import InputError

OPERATOR = "Kestovar Haulage"
CLASSES = ("Alder", "Rowan")
AFTER_LAST_DAY = date(2026, 1, 1)
DEFAULT_SEED = 48_005
LAWS = ("weibull", "lognormal")
BAD_NUMBERS = (7, 5)  # of the first and of the second class; the last one where there are fewer
BAD_FACTOR = 2.5
SHOCK_WEEKS = 0.08  # share of a locomotive's weeks that are bad ones, in a scenario with shocks
FLEET_SPREAD = 0.15  # coefficient of variation of the defect rate between the other locomotives


@dataclass(frozen=True, slots=True)
class Depot:
    """One depot and how it works and writes; hours of the day as decimals, shares from 0 to 1."""

    name: str
    inspects_at: float
    scatter_minutes: float
    sunday_share: float
    workshop_every_days: int
    wash_after_hours: float
    hours_a_day: float
    km_an_hour: float
    counters_on_sheet: float
    closes_with_time: bool
    numbers_findings: bool
    states_single_position: bool
    blank_position: float
    blank_action: float
    blank_severity: float
    teams: tuple[str, ...]


DEPOTS = (
    Depot(
        name="Mardelow",
        inspects_at=5.6,
        scatter_minutes=45,
        sunday_share=1.0,
        workshop_every_days=30,
        wash_after_hours=760,
        hours_a_day=12.6,
        km_an_hour=24,
        counters_on_sheet=0.98,
        closes_with_time=True,
        numbers_findings=True,
        states_single_position=True,
        blank_position=0.004,
        blank_action=0.012,
        blank_severity=0.02,
        teams=("1", "2", "3", "4"),
    ),
    Depot(
        name="Quessary",
        inspects_at=19.4,
        scatter_minutes=60,
        sunday_share=0.9,
        workshop_every_days=42,
        wash_after_hours=900,
        hours_a_day=11.2,
        km_an_hour=21,
        counters_on_sheet=0.25,
        closes_with_time=False,
        numbers_findings=True,
        states_single_position=True,
        blank_position=0.010,
        blank_action=0.030,
        blank_severity=0.05,
        teams=("early", "late", "night"),
    ),
    Depot(
        name="Tavrenick",
        inspects_at=12.2,
        scatter_minutes=80,
        sunday_share=0.6,
        workshop_every_days=35,
        wash_after_hours=1050,
        hours_a_day=9.8,
        km_an_hour=26,
        counters_on_sheet=0.9,
        closes_with_time=True,
        numbers_findings=False,
        states_single_position=False,
        blank_position=0.020,
        blank_action=0.045,
        blank_severity=0.08,
        teams=("A", "B"),
    ),
)


@dataclass(frozen=True, slots=True)
class Modification:
    """A change made to most locomotives, each at its own date, that lowers one component's rate."""

    name: str
    component: str
    factor: float
    share: float


MODIFICATION = Modification(
    name="stronger brush-holder springs",
    component="traction-motor-brush-holder",
    factor=0.35,
    share=0.8,
)


@dataclass(frozen=True, slots=True)
class WeakBatch:
    """Parts of one serial prefix, fitted during a part of the years (shares), that fail early."""

    component: str
    prefix: str
    usual_prefix: str
    factor: float
    fitted_between: tuple[float, float]
    share: float


WEAK_BATCH = WeakBatch(
    component="fuel-injector",
    prefix="QF",
    usual_prefix="HX",
    factor=5.0,
    fitted_between=(0.3, 0.6),
    share=0.5,
)


@dataclass(frozen=True, slots=True)
class ComesBack:
    """A closing after which the same defect returns: chance, and mean days of those that do."""

    component: str
    action: str
    chance: float
    mean_days: float


NOT_HOLDING = ComesBack(
    component="crankcase-ventilation", action="cleaned", chance=0.65, mean_days=6.0
)
NOTHING_DONE = ComesBack(component="", action="", chance=0.5, mean_days=5.0)  # effect checked


@dataclass(frozen=True, slots=True)
class Loading:
    """A filter that loads up: the pressure rises from `clean` with the hours since it was washed.

    `hours_to_limit` is the median running time from clean to the limit, `spread` the standard
    deviation of its natural log; a wash by plan comes at the depot's own hours.
    """

    component: str
    defect: str
    action: str
    parameter: str
    state: str
    clean: float
    limit: float
    hours_to_limit: float
    spread: float


FILTER = Loading(
    component="fuel-fine-filter",
    defect="loaded-up",
    action="filter-washed",
    parameter="fuel-feed-pressure",
    state="idle",
    clean=0.58,
    limit=0.98,
    hours_to_limit=1150,
    spread=0.35,
)


@dataclass(frozen=True, slots=True)
class Scenario:
    """How large the railway is, and which random numbers it is drawn with.

    `law` is the family of all lives; `lognormal` keeps mean and spread of every Weibull life.
    `blank_position` replaces the depots' own shares of findings without position. `shock` is how
    many times as often every defect of a locomotive comes in its bad weeks, `SHOCK_WEEKS` of all;
    1: none.

    Raises
    ------
    InputError
        A size or a law that the demo does not have.
    """

    locomotives: int = 48
    years: int = 5
    seed: int = DEFAULT_SEED
    law: str = "weibull"
    blank_position: float | None = None
    shock: float = 1.0

    def __post_init__(self) -> None:
        if not 2 <= self.locomotives <= 5000:
            raise InputError(f"the demo takes 2 to 5000 locomotives, not {self.locomotives!r}.")
        if not 1 <= self.years <= 20:
            raise InputError(f"the demo takes 1 to 20 years, not {self.years!r}.")
        if self.law not in LAWS:
            raise InputError(f"the demo draws lives as {' or '.join(LAWS)}, not {self.law!r}.")
        if not self.shock >= 1:
            raise InputError(f"the demo's shock is 1 or more, not {self.shock!r}.")

    @property
    def first_day(self) -> date:
        """The day on which records begin."""
        return date(AFTER_LAST_DAY.year - self.years, 1, 1)

    @property
    def days(self) -> int:
        """How many days are on record."""
        return (AFTER_LAST_DAY - self.first_day).days

    def names(self) -> list[tuple[str, str]]:
        """Return (locomotive, class) of the whole fleet, one half of each class."""
        first = self.locomotives - self.locomotives // 2
        return [
            (f"{name[0]}-{number:0{max(2, len(str(count)))}d}", name)
            for name, count in zip(CLASSES, (first, self.locomotives - first), strict=True)
            for number in range(1, count + 1)
        ]

    def bad_locomotives(self) -> tuple[str, ...]:
        """Return the locomotives whose every defect comes `BAD_FACTOR` times as often."""
        fleet = self.names()
        chosen = []
        for class_name, number in zip(CLASSES, BAD_NUMBERS, strict=True):
            of_class = [name for name, its_class in fleet if its_class == class_name]
            chosen.append(of_class[min(number, len(of_class)) - 1])
        return tuple(chosen)
