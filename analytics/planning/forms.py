"""The tables of a planner's file: their columns, what a cell may hold, whether it may be empty.

One list serves the readers of TOML and XLSX, the checks, and the template.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
NUMBER, WHOLE, DAY, NAME, NAMES, AMOUNTS, COUNTS, DAYS_OF_WEEK, PER = (
    "a number", "a whole number", "a date", "a name", "names", "amounts", "counts", "weekdays",
    "per",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Column:
    """One column: what a cell holds, whether it must be filled, the least number allowed."""

    holds: str
    said: str
    needed: bool = False
    least: float | None = None
    example: object = None


@dataclass(frozen=True, slots=True)
class Form:
    """One table of the file; `single`: one row at most."""

    said: str
    columns: Mapping[str, Column]
    single: bool = False


_FROM = Column(DAY, "first day on which it holds; empty: from the start")
_TO = Column(DAY, "last day on which it holds; empty: without end")
_WEEK = Column(DAYS_OF_WEEK, "weekdays, such as Mon-Fri or Mon, Wed; empty: every day",
               example="Mon-Fri")  # fmt: skip

FORMS: Mapping[str, Form] = {
    "plan": Form(
        "how far to plan, and what a mend takes",
        {
            "weeks": Column(WHOLE, "length of the plan, 1 to 52", least=1, example=8),
            "first_day": Column(DAY, "empty: the day after the last day on record"),
            "mend_days": Column(WHOLE, "days in a berth to mend a defect", least=1, example=1),
            "mend_hours": Column(AMOUNTS, "hours by skill to mend a defect", example="fitter 6"),
        },
        single=True,
    ),
    "costs": Form(
        "what time costs, in your money",
        {
            "day_out": Column(
                NUMBER, "a locomotive out of traffic for a day", needed=True, least=0, example=2000
            ),
            "labour_hour": Column(NUMBER, "an hour of labour", least=0, example=45),
        },
        single=True,
    ),
    "class_costs": Form(
        "classes whose day out of traffic costs something else",
        {
            "class": Column(NAME, "class", needed=True, example="Alder"),
            "day_out": Column(NUMBER, "a day out of traffic", needed=True, least=0, example=2400),
        },
    ),
    "failure_costs": Form(
        "components of which you know better than the record what a failure costs",
        {
            "component": Column(NAME, "component", needed=True, example="turbocharger"),
            "cost": Column(
                NUMBER, "a failure, lost days apart", needed=True, least=0, example=9000
            ),
        },
    ),
    "berths": Form(
        "places for one locomotive at a time",
        {
            "berth": Column(NAME, "its name", needed=True, example="1"),
            "open": _WEEK,
            "from": _FROM,
            "to": _TO,
            "classes": Column(NAMES, "classes it takes; empty: all"),
            "jobs": Column(NAMES, "jobs it takes, and mend; empty: all"),
        },
    ),
    "closed": Form(
        "days on which berths are closed",
        {
            "berth": Column(NAME, "empty: all berths"),
            "from": Column(DAY, "first day", needed=True, example="2026-12-24"),
            "to": Column(DAY, "last day", needed=True, example="2026-12-26"),
        },
    ),
    "labour": Form(
        "hours of each skill on a day",
        {
            "skill": Column(NAME, "skill", needed=True, example="fitter"),
            "hours": Column(
                NUMBER, "hours a day, all people together", needed=True, least=0, example=32
            ),
            "days": _WEEK,
            "from": _FROM,
            "to": _TO,
        },
    ),
    "jobs": Form(
        "work by plan: it renews what sits in these components",
        {
            "job": Column(NAME, "its name", needed=True, example="injector set"),
            "components": Column(
                NAMES, "components it renews", needed=True, example="fuel-injector"
            ),
            "per": Column(
                PER,
                "locomotive: all positions at once; position: one at a time",
                example="locomotive",
            ),
            "days": Column(WHOLE, "open days in the berth", least=1, example=1),
            "hours": Column(AMOUNTS, "hours by skill", example="fitter 16"),
            "parts": Column(COUNTS, "pieces by spare", example="injector set 1"),
            "cost": Column(NUMBER, "beside labour and spares", least=0, example=0),
        },
    ),
    "spares": Form(
        "pieces in stock",
        {
            "spare": Column(NAME, "its name", needed=True, example="injector set"),
            "on_hand": Column(WHOLE, "pieces on the first day", needed=True, least=0, example=6),
            "keep": Column(WHOLE, "pieces to keep for failures", least=0, example=1),
            "cost": Column(NUMBER, "a piece", least=0, example=1800),
        },
    ),
    "orders": Form(
        "pieces on order",
        {
            "spare": Column(NAME, "spare", needed=True, example="injector set"),
            "due": Column(DAY, "day on which they arrive", needed=True, example="2026-07-01"),
            "number": Column(WHOLE, "pieces", needed=True, least=1, example=4),
        },
    ),
    "visits": Form(
        "visits that a rule or the law asks for",
        {
            "locomotive": Column(NAME, "locomotive", needed=True, example="A-07"),
            "visit": Column(NAME, "its name", needed=True, example="frame inspection"),
            "earliest": Column(DAY, "it may begin on", needed=True, example="2026-07-06"),
            "latest": Column(DAY, "it must be over by", needed=True, example="2026-07-24"),
            "days": Column(WHOLE, "open days in the berth", least=1, example=2),
            "hours": Column(AMOUNTS, "hours by skill", example="fitter 24"),
            "parts": Column(COUNTS, "pieces by spare"),
        },
    ),
    "traffic": Form(
        "how many of a class must stay in traffic",
        {
            "class": Column(NAME, "class", needed=True, example="Alder"),
            "least": Column(WHOLE, "locomotives at least", needed=True, least=0, example=20),
            "days": _WEEK,
            "from": _FROM,
            "to": _TO,
        },
    ),
}
