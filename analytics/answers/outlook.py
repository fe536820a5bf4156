"""What every position in service has before it: the ground of `next-weeks` and `look-closer`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answers.ages import in_progress
from analytics.answers.daily_use import daily_use
from analytics.answers.expected import by_clock, without_position
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.kinds import KIND, Kinds
from analytics.answers.look_back import read_days
from analytics.answers.risk import read_risk
from analytics.answers.seasons import read_season
from analytics.estimate.forecast import forecast
from analytics.estimate.rate import BoolArray, FloatArray, IntArray
from analytics.estimate.shrinkage import shrunk_ratios
from analytics.scope import Scope
from analytics.store import Reader

LONGEST_DAYS = 366


@dataclass(frozen=True, slots=True)
class Outlook:
    """The positions in service of the locomotives in scope, and what they rest on.

    `frame` has locomotive, class, depot, component, position, clock, since, start_known, age, use
    (the clock over the horizon), stored, usual (failures that kind and age let expect), usual_new
    (the same of a position renewed now), ratio, ratio_sd (of the locomotive), events (failures of
    the kind on record), stated (share of them with a position), chance and expected (with the
    ratio), even (expected of any position of its class and component, whatever its age), of_like
    (the same of one that runs as its class does), older (than half of its kind, at an age that
    makes it fail more often), season (how many times its usual its component fails over the
    horizon; usual, usual_new, even and of_like have it in them), law_part and law (place in
    `kinds`, one entry a clock, and in that).
    """

    ground: Ground
    frame: pd.DataFrame
    left_out: dict[str, int]
    clocks: tuple[str, ...]
    events: int
    kinds: tuple[Kinds, ...] = ()


def read_horizon(written: str) -> float:
    """Read `28d` or `4w` into days.

    Raises
    ------
    ScopeError
        For anything else, nothing, or more than a year.
    """
    return read_days(written, "a horizon", most=LONGEST_DAYS)


def look_ahead(
    reader: Reader, scope: Scope, days: float | Mapping[str, float], *, bounds: bool = False
) -> Outlook:
    """Forecast the failures of every position in scope over so many days.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked. Filters choose the positions shown; they are compared with all locomotives of
        their class and, for the ratio, over all their components, so that a filter changes no
        figure. A filter on defects does: only these count. `until` moves the data cut back.
    days
        The horizon, or that of each locomotive (others have none).
    bounds
        Whether the shapes of the kinds' intensities are bounded, which takes most of the time.

    Conventions
    -----------
    METHODS section 9. Each component on its own clock, unless the scope names one. A position whose
    last renewal is not on record has its kind's even rate. Failures without a position are spread
    over the positions of their kind. What the calendar months ahead bring of a component counts
    where the record shows it (`analytics.answers.seasons`).
    """
    asked = lay_ground(reader, scope)
    classes = tuple(asked.rows("SELECT DISTINCT class FROM asked_record ORDER BY class")["class"])
    wide = replace(scope, classes=classes, locomotives=(), depots=(), components=())
    whole = lay_ground(reader, wide)
    parts = by_clock(whole, scope.clock)
    positions, seen, kinds = [], [], []
    left_out: Counter[str] = Counter()
    for number, part in enumerate(parts):
        now, past, missing, of_part = _one_clock(reader, part, days, bounds=bounds)
        positions.append(now.assign(law_part=number))
        seen.append(past)
        kinds.append(of_part)
        left_out.update(missing)
    past = pd.concat(seen, ignore_index=True)
    frame = pd.concat(positions, ignore_index=True).merge(
        _ratios(past), how="left", on="locomotive"
    )
    frame = frame.fillna({"ratio": 1.0, "ratio_sd": 0.0})
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    frame = _shown(_forecast(frame), scope, ground)
    clocks = tuple(str(part.clock) for part in parts)
    events = int(past["events"].sum())
    return Outlook(ground, frame, dict(left_out), clocks, events, tuple(kinds))


def _one_clock(
    reader: Reader, scope: Scope, days: float | Mapping[str, float], *, bounds: bool
) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, int], Kinds]:
    """Return the positions now, and by locomotive what was found and expected, on one clock."""
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    risk = read_risk(ground)
    kinds, expected = Kinds.of(risk, bounds=bounds)
    past = risk.frame.assign(expected=expected)
    past = pd.concat([past, without_position(past, risk.unplaced)], ignore_index=True)
    past = past.groupby(["class", "locomotive"], as_index=False)[["events", "expected"]].sum()
    now = in_progress(ground)
    now = now[now["in_progress"]].merge(daily_use(ground).drop(columns="class"), on="locomotive")
    now = now.merge(kinds.names, how="inner", on=KIND).reset_index(drop=True)
    ahead = now["locomotive"].map(days).fillna(0.0) if isinstance(days, Mapping) else days
    running = now["a_day"].where(~now["stored"].astype(bool))
    of_class = running.groupby(now["class"]).transform("median")
    now = now.assign(use=ahead * now["a_day"], like_use=ahead * of_class)
    days_ahead = np.broadcast_to(np.asarray(ahead, dtype=np.float64), len(now))
    season = read_season(ground).ahead(now, days_ahead)
    return _with_season(_with_usual(now, kinds), season), past, risk.left_out, kinds


def _with_season(now: pd.DataFrame, season: FloatArray) -> pd.DataFrame:
    due = {name: now[name] * season for name in ("usual", "usual_new", "even", "of_like")}
    return now.assign(season=season, **due)


def _with_usual(now: pd.DataFrame, kinds: Kinds) -> pd.DataFrame:
    kind = now["kind"].to_numpy(dtype=np.int64)
    age, use = now["age"].to_numpy(np.float64), now["use"].to_numpy(np.float64)
    known = now["start_known"].to_numpy(dtype=bool) & np.isfinite(age)
    everywhere = np.ones(len(now), dtype=bool)
    kept = ["locomotive", "class", "component", "position", "clock", "since", "age", "stored"]
    return now[kept].assign(
        law=kind,
        start_known=known,
        use=use,
        usual=kinds.usual(kind, age, use, known),
        usual_new=kinds.usual(kind, np.zeros(len(now)), use, everywhere),
        even=kinds.at_any_age(kind, use),
        of_like=kinds.at_any_age(kind, now["like_use"].to_numpy(np.float64)),
        older=_older(kinds, kind, age, use, known),
        events=kinds.events[kind],
        stated=kinds.stated[kind],
    )


def _older(
    kinds: Kinds, kind: IntArray, age: FloatArray, use: FloatArray, known: BoolArray
) -> BoolArray:
    """Tell what is above its kind's median age, with more to expect than at that age."""
    median = pd.Series(np.where(known, age, np.nan)).groupby(kind).transform("median").to_numpy()
    some = np.isfinite(median)
    at_median = kinds.usual(kind, median, use, some)
    older: BoolArray = known & some & (age > median)
    return older & (kinds.usual(kind, age, use, known) > at_median)


def _ratios(past: pd.DataFrame) -> pd.DataFrame:
    """Return how many times the usual each locomotive fails, drawn to 1, class by class."""
    total = past.groupby(["class", "locomotive"], as_index=False)[["events", "expected"]].sum()
    total = total[total["expected"] > 0]
    found = []
    for _, part in total.groupby("class", sort=True):
        shrunk = shrunk_ratios(part["events"], part["expected"])
        found.append(
            part[["locomotive"]].assign(ratio=shrunk.ratio / shrunk.mean, ratio_sd=shrunk.sd)
        )
    if found:
        return pd.concat(found, ignore_index=True)
    none = pd.Series(dtype="float64")
    return pd.DataFrame({"locomotive": none.astype(object), "ratio": none, "ratio_sd": none})


def _forecast(frame: pd.DataFrame) -> pd.DataFrame:
    found = forecast(frame["usual"], frame["ratio"], frame["events"])
    return frame.assign(chance=found.chance, expected=found.expected)


def _shown(frame: pd.DataFrame, scope: Scope, ground: Ground) -> pd.DataFrame:
    """Keep the positions in scope, each locomotive with the depot where it was last."""
    last = ground.rows(
        "SELECT r.locomotive, coalesce(arg_max(x.depot, x.to_at), any_value(r.depot), '') AS depot"
        f" FROM asked_record AS r LEFT JOIN {ground.sources['exposure']} AS x"
        " ON x.locomotive = r.locomotive AND x.from_at < $until GROUP BY r.locomotive",
        until=ground.until,
    )
    found = frame.merge(last, on="locomotive")
    if scope.components:
        found = found[found["component"].isin(scope.components)]
    if scope.depots:
        found = found[found["depot"].isin(scope.depots)]
    return found.reset_index(drop=True)
