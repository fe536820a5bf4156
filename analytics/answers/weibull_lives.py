"""Weibull lives of every class and component, each on its own clock: ground of planned renewal."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.answers.expected import by_clock
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.groups import each_group
from analytics.answers.lives import life_batch
from analytics.answers.survival import read_ground
from analytics.estimate.life_batch import fit_batch
from analytics.estimate.lives import FEWEST_FAILURES
from analytics.scope import Scope
from analytics.store import Reader

KIND = ["class", "component"]
_FIGURES = ("shape", "shape_lower", "shape_upper", "scale", "median", "mean")


def weibull_lives(
    reader: Reader, scope: Scope, *, level: float, also: float | None = None
) -> pd.DataFrame:
    """Return class, component, clock, shape with bounds, scale, median, mean and failures.

    One row a class and component with a Weibull law (3 failures or more). Bounds of the shape are
    at `level`; with `also` given, `low` and `high` are those at that level.
    """
    parts = by_clock(lay_ground(reader, scope), scope.clock)
    found: pd.DataFrame = pd.concat(
        [_of_clock(reader, part, level, also) for part in parts], ignore_index=True
    )
    return found


def _of_clock(reader: Reader, scope: Scope, level: float, also: float | None) -> pd.DataFrame:
    """Fit the law alone: the other laws and checks of `survival --fit` would take four times."""
    ground, lives = read_ground(reader, scope)
    keys, parts = [], []
    for key, part, _ in each_group(lives.frame, KIND):
        keys.append(key)
        parts.append(part)
    batch = life_batch(parts)
    fit = fit_batch(batch, "weibull", level=level)
    table = pd.DataFrame(keys, columns=KIND).assign(
        clock=ground.clock,
        **{name: getattr(fit, name) for name in _FIGURES},
        failures=np.round(fit.failures).astype(np.int64),
    )
    if also is not None:
        other = fit_batch(batch, "weibull", level=also)
        table = table.assign(low=other.shape_lower, high=other.shape_upper)
    told = (table["failures"] >= FEWEST_FAILURES) & table["shape"].notna()
    kept: pd.DataFrame = table[told].reset_index(drop=True)
    return kept


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
