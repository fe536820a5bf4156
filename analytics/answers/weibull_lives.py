"""Weibull lives of every class and component, each on its own clock: ground of planned renewal."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analytics.answers.expected import by_clock
from analytics.answers.fit import fit_lives
from analytics.answers.ground import Ground, lay_ground
from analytics.scope import Scope
from analytics.store import Reader

KIND = ["class", "component"]


def weibull_lives(reader: Reader, scope: Scope, *, level: float) -> pd.DataFrame:
    """Return class, component, clock, shape with bounds at the level, scale, mean and failures.

    One row a class and component with a Weibull law (3 failures or more).
    """
    rows = []
    for part in by_clock(lay_ground(reader, scope), scope.clock):
        table = fit_lives(reader, replace(part, level=level), by=("class", "component")).table
        rows.append(table[table["model"] == "weibull"])
    found = pd.concat(rows, ignore_index=True) if rows else pd.DataFrame()
    kept = [*KIND, "clock", "shape", "shape_lower", "shape_upper", "scale", "median", "mean"]
    return found[[*kept, "failures"]].reset_index(drop=True)


def planned_costs(ground: Ground) -> pd.DataFrame:
    """Return component, `planned_cost` and `planned_days`: means of the renewals by plan.

    Their days are those of the labour, as one fitter would take (as in `availability`). Of all
    locomotives, up to the end of the period: a filter changes no price.
    """
    actions = [name for name, one in ground.catalogue.actions.items() if one.effect == "renew"]
    ground.keep("renewing", pd.DataFrame({"action": pd.Series(actions, dtype=object)}))
    return ground.rows(
        "SELECT component, avg(cost) AS planned_cost,"
        " avg(coalesce(labour_hours, 0)) / 24 AS planned_days"
        f" FROM ({ground.in_force('work')}) SEMI JOIN renewing USING (action)"
        " WHERE done_at < $until GROUP BY component ORDER BY component",
        until=ground.until,
    )


def failure_costs(ground: Ground) -> pd.DataFrame:
    """Return component, `cost_each` and `down_days`: means of failures closed by a renewal.

    Of all locomotives, up to the end of the period: a filter changes no price.
    """
    return ground.rows(
        "SELECT component, avg(cost) AS cost_each, avg(coalesce(down_hours, 0)) / 24 AS down_days"
        f" FROM {ground.sources['episode']} WHERE {ground.counted} AND effect = 'renew'"
        " AND closed_at <= $until GROUP BY component ORDER BY component",
        until=ground.until,
    )
