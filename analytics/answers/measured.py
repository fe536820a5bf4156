"""The measured values that a question is about, in segments from reset to reset.

Everything is laid out as temporary tables of the reader's own cursor: `read_record` (locomotives),
`asked_parameter`, `asked_reset_by`, `asked_limit`, `asked_reset`, `asked_entered` (all readings),
`asked_reading` (those within the record).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd

from analytics.answers.ground import Ground, is_one_of, lay_ground, text_of
from analytics.catalogue.model import ANY_STATE, RUNNING_STATES, Limit, Parameter
from analytics.errors import ScopeError, unknown_name
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.current import current_sql

LIMITS = ("attend_above", "attend_below", "withhold_above", "withhold_below")


def lay_readings(reader: Reader, scope: Scope, parameters: Sequence[str]) -> Ground:
    """Check the names and lay out the readings in scope, each with its segment.

    A locomotive belongs to the depot where it was last. Components keep the parameters that tell of
    them; clock, counting rule and defects are not used.

    Raises
    ------
    ScopeError
        For a name that neither catalogue nor record knows.
    """
    known = reader.catalogue.parameters
    for name in parameters:
        if name not in known:
            raise ScopeError(unknown_name("parameter", name, known))
    ground = lay_ground(reader, replace(scope, clock="days"))
    _lay_records(ground)
    chosen = [
        parameter
        for parameter in known.values()
        if (not parameters or parameter.name in parameters)
        and (not scope.components or parameter.component in scope.components)
    ]
    _lay_parameters(ground, chosen)
    mine = is_one_of("locomotive", scope.locomotives)
    names = is_one_of("parameter", tuple(parameter.name for parameter in chosen))
    resets = text_of("measured_reset.sql").format(
        findings=current_sql("findings", mine), work=current_sql("work", mine)
    )
    ground.make("asked_reset", resets)
    readings = current_sql("readings", f"{mine} AND {names}")
    ground.make("asked_entered", text_of("measured_entered.sql").format(readings=readings))
    ground.make("asked_reading", text_of("measured_reading.sql"))
    return ground


def _lay_records(ground: Ground) -> None:
    ground.make(
        "read_record",
        "SELECT r.* FROM asked_record AS r LEFT JOIN ("
        "SELECT locomotive, arg_max(depot, to_at) AS last_depot"
        f" FROM {ground.sources['exposure']} WHERE from_at < $until GROUP BY locomotive)"
        f" USING (locomotive) WHERE {ground.kept(depot='coalesce(last_depot, r.depot)')}",
    )


def _lay_parameters(ground: Ground, chosen: list[Parameter]) -> None:
    text, number = "object", "float64"
    for name, columns, rows in (
        (
            "asked_parameter",
            {"parameter": text, "component": text, "unit": text},
            [(p.name, p.component, p.unit) for p in chosen],
        ),
        (
            "asked_reset_by",
            {"parameter": text, "action": text},
            [(p.name, action) for p in chosen for action in p.reset_by],
        ),
        (
            "asked_limit",
            {"parameter": text, "running_state": text} | dict.fromkeys(LIMITS, number),
            [
                (p.name, state, *_limits(p, state))
                for p in chosen
                for state in ("", *RUNNING_STATES, ANY_STATE)
            ],
        ),
    ):
        frame = pd.DataFrame(rows, columns=list(columns)).astype(columns)
        kinds = ", ".join(
            f"{column}::{'VARCHAR' if kind == text else 'DOUBLE'} AS {column}"
            for column, kind in columns.items()
        )
        ground.keep("given", frame)
        ground.make(name, f"SELECT {kinds} FROM given")


def _limits(parameter: Parameter, state: str) -> tuple[float | None, ...]:
    none = Limit(above=None, below=None)
    attend = parameter.attend_limit(state) or none
    withhold = parameter.withhold_limit(state) or none
    return attend.above, attend.below, withhold.above, withhold.below
