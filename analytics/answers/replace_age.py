"""At which age to renew by plan, and what that saves against running to failure."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
from scipy.special import gamma

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import on_clock
from analytics.answers.daily_use import daily_use
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.weibull_lives import failure_costs, planned_costs, weibull_lives
from analytics.errors import ScopeError
from analytics.estimate.rate import BoolArray, FloatArray
from analytics.estimate.replacement import ReplacementPolicy, replacement_policy
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "class", "component", "clock", "failures", "shape", "shape_lower", "failure_cost",
    "planned_cost", "age", "age_from", "age_to", "weeks", "rate", "rate_failure", "saving",
    "saving_lower", "saving_upper", "note",
)  # fmt: skip
CURVE = ("class", "component", "clock", "age", "rate", "rate_lower", "rate_upper", "is_best")
ONE_SIDED = 0.80
"""Level of the shape's bounds by which it clearly lies above 1: one-sided at 90 %."""
LEAST_SAVING = 0.05
"""A smaller saving is no case for renewal by plan."""
_LIVES, _STEPS = 3.0, 300
_SHAPES = ("shape", "low", "high")
_LEAST_SHAPE = 0.2  # of a lower bound that is hardly one
_SHOWN = 60  # ages of a curve
_WHY_NOT = (
    "replacement.safety", "replacement.no_wear", "replacement.no_cost", "replacement.not_dearer",
    "replacement.no_case",
)  # fmt: skip


def replace_age(
    reader: Reader,
    scope: Scope,
    *,
    failure_cost: float | None = None,
    planned_cost: float | None = None,
    day_cost: float = 0.0,
    curve: bool = False,
) -> Answer:
    """Find the age at which renewal by plan costs least, for each class and component.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Without a clock each component is on its own.
    failure_cost, planned_cost
        Cost of a renewal after a failure and by plan. None: means on record, of failures closed by
        a renewal and of the renewals in `work`.
    day_cost
        Cost of a day out of traffic: added for the mean days down of a failure and the mean labour
        of a renewal by plan, where these are on record.
    curve
        Instead: the cost rate at each age of those for which there is a case.

    Returns
    -------
    Answer
        A row per class and component with a fitted life, greatest saving first. `age`: where the
        cost rate is least; `age_from` and `age_to`: where it is within 5 % of that (`age_to` empty:
        or later); `weeks`: the age at the fleet's use; `rate` and `rate_failure`: cost per unit of
        the clock of renewal at that age and of running to failure; `saving`: as a share of the
        latter, with bounds at the scope's level. Empty, and a note, where there is no case.

    Conventions
    -----------
    METHODS section 9. Age replacement (`analytics.estimate.replacement`, chance of renewal 1) of
    Weibull lives, where the shape lies above 1 by its one-sided 90 % bound and a failure costs more
    than a renewal by plan. The saving's share follows from the shape and the ratio of the costs
    alone, so its bounds are those of the shape's profile; costs are taken as known. No case where
    its lower bound is not above 0 or it is under 5 %. For safety components nothing is told of
    running to failure, their curve ends at the best age: the interval that a rule or the maker sets
    stands.

    Limits
    ------
    Ages up to 3 median lives are tried. Failures between renewals (cleaned, adjusted) cost nothing
    here. Costs are means by component over all classes.

    Raises
    ------
    ScopeError
        For an unknown name, or a cost that is not above 0.

    References
    ----------
    Barlow & Proschan (1965), Mathematical Theory of Reliability, chapter 4.
    """
    for name, cost in (("failure_cost", failure_cost), ("planned_cost", planned_cost)):
        if cost is not None and not (cost > 0 and np.isfinite(cost)):
            raise ScopeError(f"{name} is a number above 0, not {cost!r}.")
    if not (day_cost >= 0 and np.isfinite(day_cost)):
        raise ScopeError(f"day_cost is 0 or more, not {day_cost!r}.")
    found = weibull_lives(reader, scope, level=ONE_SIDED, also=scope.level)
    ground = lay_ground(reader, scope)
    found = _priced(found, ground, failure_cost, planned_cost, day_cost)
    table = _with_ages(found, ground)
    basis = make_basis(
        ground, "age replacement of Weibull lives", events=int(found["failures"].sum())
    )
    notes = [Message("replacement.costs_known"), Message("replacement.caution")]
    if curve:
        rows = _curves(table, _of_safety(table, ground))
        return Answer("replace-age", rows, basis, _reading(table), tuple(notes))
    return Answer("replace-age", table[list(COLUMNS)], basis, _reading(table), tuple(notes))


def _priced(
    found: pd.DataFrame,
    ground: Ground,
    failure_cost: float | None,
    planned_cost: float | None,
    day_cost: float,
) -> pd.DataFrame:
    found = found.merge(failure_costs(ground), how="left", on="component")
    found = found.merge(planned_costs(ground), how="left", on="component")
    each = found["cost_each"].astype("float64") if failure_cost is None else failure_cost
    by_plan = found["planned_cost"].astype("float64") if planned_cost is None else planned_cost
    down, stands = (found[name].fillna(0.0) * day_cost for name in ("down_days", "planned_days"))
    return found.assign(failure_cost=each + down, planned_cost=by_plan + stands)


def _with_ages(found: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    """Add the best age and the saving where there is a case, and say why not elsewhere."""
    known = found["failure_cost"].notna() & found["planned_cost"].notna()
    rises = found["shape_lower"] > 1
    dearer = found["failure_cost"] > found["planned_cost"]
    tried = (known & rises & dearer).to_numpy()
    names = ("age", "age_from", "age_to", "rate", "rate_failure", "saving")
    more = {name: np.full(len(found), np.nan) for name in (*names, "saving_lower", "saving_upper")}
    if tried.any():
        for name, values in _best(found[tried]).items():
            more[name][tried] = values
    table = found.assign(**more)
    case = tried & (more["saving"] >= LEAST_SAVING) & (more["saving_lower"] > 0)
    is_safety = _of_safety(table, ground)
    table.loc[~case, ["age", "age_from", "age_to", "rate"]] = np.nan
    table.loc[is_safety, ["rate_failure", "saving", "saving_lower", "saving_upper"]] = np.nan
    keys = np.select(
        [is_safety, ~rises, ~known, ~dearer, ~case],
        list(_WHY_NOT),
        default="",
    )
    table["note"] = [say(Message(key)) if key else "" for key in keys]
    table["weeks"] = table["age"] / (7 * _a_day(table, ground))
    return table.sort_values(
        ["saving", "component", "class"], ascending=[False, True, True], na_position="last",
        ignore_index=True,
    )  # fmt: skip


def _of_safety(table: pd.DataFrame, ground: Ground) -> BoolArray:
    safety = {name for name, one in ground.catalogue.components.items() if one.safety}
    found: BoolArray = table["component"].isin(safety).to_numpy()
    return found


def _a_day(table: pd.DataFrame, ground: Ground) -> pd.Series[float]:
    """Return the median daily clock of each row's class."""
    found: dict[tuple[str, str], float] = {}
    for clock in table["clock"].unique():
        use = daily_use(replace(ground, scope=replace(ground.scope, clock=str(clock))))
        running = use[~use["stored"].astype(bool)].groupby("class")["a_day"].median()
        found |= {(str(clock), str(name)): float(value) for name, value in running.items()}
    keys = zip(table["clock"], table["class"], strict=True)
    each = np.array([found.get(key, np.nan) for key in keys], dtype=np.float64)
    return pd.Series(each, index=table.index)


def _policy(rows: pd.DataFrame, shape: FloatArray) -> ReplacementPolicy:
    """Weigh Weibull lives of the same medians with these shapes."""
    median = rows["median"].to_numpy(np.float64)
    scale = median / np.log(2.0) ** (1.0 / shape)
    grid = _LIVES * median[:, None] * np.arange(_STEPS + 1) / _STEPS
    return replacement_policy(
        grid,
        (grid / scale[:, None]) ** shape[:, None],
        renewed=1.0,
        cost_failure=rows["failure_cost"],
        cost_planned=rows["planned_cost"],
    )


def _to_failure(rows: pd.DataFrame, shape: FloatArray) -> FloatArray:
    """Return the cost rate of running to failure: a failure for each mean life, without end."""
    scale = rows["median"].to_numpy(np.float64) / np.log(2.0) ** (1.0 / shape)
    rate: FloatArray = rows["failure_cost"].to_numpy(np.float64) / (scale * gamma(1 + 1 / shape))
    return rate


def _best(rows: pd.DataFrame) -> dict[str, FloatArray]:
    """Return the best age by the shape, and the saving by it and by its bounds."""
    shapes = [np.maximum(rows[name].to_numpy(np.float64), _LEAST_SHAPE) for name in _SHAPES]
    policies = [_policy(rows, shape) for shape in shapes]
    to_failure = [_to_failure(rows, shape) for shape in shapes]
    savings = [
        np.where(np.isfinite(one.best_age), np.maximum(1.0 - one.best_rate / none, 0.0), 0.0)
        for one, none in zip(policies, to_failure, strict=True)
    ]
    main = policies[0]
    return {
        "age": main.best_age,
        "age_from": main.flat_from,
        "age_to": np.where(np.isfinite(main.flat_to), main.flat_to, np.nan),
        "rate": main.best_rate,
        "rate_failure": to_failure[0],
        "saving": savings[0],
        "saving_lower": np.minimum(savings[1], savings[0]),
        "saving_upper": np.maximum(savings[2], savings[0]),
    }


def _curves(table: pd.DataFrame, safety: BoolArray) -> pd.DataFrame:
    """Return the cost rate at even ages of each row with a case; bounds are those of the shape."""
    case = table["age"].notna()
    ends = safety[case]
    rows = table[case].reset_index(drop=True)
    if rows.empty:
        return pd.DataFrame(columns=list(CURVE))
    main, low, high = (
        _policy(rows, np.maximum(rows[name].to_numpy(np.float64), _LEAST_SHAPE)) for name in _SHAPES
    )
    places = np.linspace(_STEPS / _SHOWN, _STEPS, _SHOWN).round().astype(int)
    parts = []
    for at in range(len(rows)):
        rates = np.stack([one.rate[at, places] for one in (main, low, high)])
        ages = main.age[at, places]
        nearest = np.abs(ages - rows["age"].iloc[at]).argmin()
        if ends[at]:
            ages, rates = ages[: nearest + 1], rates[:, : nearest + 1]
        parts.append(
            pd.DataFrame(
                {
                    "class": rows["class"].iloc[at], "component": rows["component"].iloc[at],
                    "clock": rows["clock"].iloc[at], "age": ages, "rate": rates[0],
                    "rate_lower": rates.min(axis=0), "rate_upper": rates.max(axis=0),
                    "is_best": np.arange(len(ages)) == nearest,
                }
            )
        )  # fmt: skip
    return pd.concat(parts, ignore_index=True)[list(CURVE)]


def _reading(table: pd.DataFrame) -> Message:
    case = table[table["age"].notna()]
    if table.empty:
        return Message("replacement.nothing")
    if case.empty:
        return Message("replacement.none", kinds=len(table))
    first = case.iloc[0]
    said = {
        "subject": f"{first['component']} ({first['class']})",
        "age": float(first["age"]),
        "weeks": float(first["weeks"]),
        "number": len(case),
        "all": len(table),
    }
    if np.isnan(first["saving"]):
        return on_clock("replacement.age", str(first["clock"]), **said)
    said |= {
        "saving": 100 * float(first["saving"]),
        "lower": 100 * float(first["saving_lower"]),
        "upper": 100 * float(first["saving_upper"]),
    }
    return on_clock("replacement.best", str(first["clock"]), **said)
