"""Forecasts made at past dates from what was known then, beside what came."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from analytics.answers.bunching import bunching
from analytics.answers.ground import Ground, lay_ground, text_of
from analytics.answers.known_at import known_at
from analytics.answers.look_lines import read_lines
from analytics.answers.outlook import look_ahead
from analytics.estimate.forecast import FEWEST_EVENTS
from analytics.history.build import POSITIONS_OF
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.current import current_sql

LIST_DAYS = 7
"""A look-closer list is held against what is found over so many days."""

_PLACE = ["locomotive", "component", "position"]
_HALF = 0.5  # of a failure: what a position without any is taken to have had


@dataclass(frozen=True, slots=True)
class Trials:
    """All forecasts of a back-test.

    `positions` has one row a cut and position: cut, locomotive, class, component, position, chance
    (NaN: too few to say), age_chance, count_chance, class_chance, past (failures so far),
    class_past (of all of its class), came (0 or 1), weight (share of the horizon followed; 1 where
    it came), came_soon (within 7 days, not by_list), by_list (within them, but at an
    inspection done with a look-closer list in hand), listed (on a look-closer list), open (on it
    as open).
    `locomotives` has one row a cut and locomotive: usual, expected, ratio, ratio_sd, spread, found.
    """

    positions: pd.DataFrame
    locomotives: pd.DataFrame
    cuts: tuple[datetime, ...]


def choose_cuts(ground: Ground, days: float, most: int) -> tuple[datetime, ...]:
    """Return the last seconds of days in the second half of the record, at least a horizon apart.

    What was handed in without a time of day is told apart by its date there.
    """
    found = ground.rows("SELECT min(begins_at) AS first, max(ends_at) AS last FROM asked_record")
    first, last = found["first"].iloc[0], ground.data_cut
    if last is None or pd.isna(first):
        return ()
    begin = max(first.to_pydatetime(), ground.since)
    end = last - timedelta(days=days)
    middle = begin + (last - begin) / 2
    if middle >= end:
        return ()
    number = min(most, 1 + int((end - middle) / timedelta(days=days)))
    step = (end - middle) / (number - 1) if number > 1 else timedelta(0)
    moments = (end - step * back for back in reversed(range(number)))
    midnights = (datetime(m.year, m.month, m.day) for m in moments)
    return tuple(dict.fromkeys(m - timedelta(seconds=1) for m in midnights))


def run_trials(reader: Reader, scope: Scope, cuts: tuple[datetime, ...], days: float) -> Trials:
    """Forecast at every cut and hold it against the whole record.

    Conventions
    -----------
    METHODS sections 9 and 12. Everything is estimated anew from `known_at`. Outcome: the first new
    counted episode of the position in (cut, cut + horizon]. Where work ended the watch before, a
    position without an episode has the share of the horizon that was followed as its weight.
    Chances are those of an episode whose position is written.
    """
    ground = lay_ground(reader, scope)
    reader.cursor.execute(POSITIONS_OF)
    ground.keep("asked_action", pd.DataFrame(ground.catalogue.tables()["action"]))
    told = replace(scope, until=None)
    positions, locomotives = [], []
    for cut in cuts:
        with known_at(reader, cut) as past:
            before = _told_before(past, told, days)
        after = _came(ground, cut, days)
        soon = _came(ground, cut, LIST_DAYS)
        soon["came_soon"] = soon["came_at"].notna() & ~soon["by_list"]
        joined = before.merge(after.drop(columns="by_list"), on=_PLACE)
        joined = joined.merge(soon[[*_PLACE, "came_soon", "by_list"]], on=_PLACE)
        joined = _scored(joined, cut, days)
        positions.append(joined)
        locomotives.append(_found(ground, joined, cut, days))
    return Trials(
        pd.concat(positions, ignore_index=True), pd.concat(locomotives, ignore_index=True), cuts
    )


def _told_before(past: Reader, scope: Scope, days: float) -> pd.DataFrame:
    """Return what every method tells of each position at the cut."""
    outlook = look_ahead(past, scope, days)
    ground = outlook.ground
    counts = ground.rows(
        "SELECT locomotive, component, position, count(*)::DOUBLE AS past"
        f" FROM {ground.sources['episode']} WHERE {ground.counted} AND position IS NOT NULL"
        " GROUP BY ALL ORDER BY ALL"
    )
    begun = ground.rows("SELECT locomotive, begins_at FROM asked_record")
    found = outlook.frame.merge(counts, how="left", on=_PLACE).merge(begun, on="locomotive")
    found["past"] = found["past"].fillna(0.0)
    by_class = found.groupby(["class", "component", "position"])["past"]
    found["class_past"] = by_class.transform("sum")
    lines = read_lines(past, scope)
    return _with_lists(found, lines).assign(spread=bunching(past, scope, days))


def _with_lists(found: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Mark the positions that a list names; a line without a position names all of its kind."""
    named = lines[lines["position"].notna()].astype({"position": "int64"})
    open_ones = named[named["kind"] == "open"][_PLACE].drop_duplicates()
    others = named[named["kind"] != "open"][_PLACE].drop_duplicates()
    wide = lines[lines["position"].isna() & (lines["kind"] != "open")]
    wide = wide[["locomotive", "component"]].drop_duplicates()
    is_open = _among(found, open_ones, _PLACE)
    listed = _among(found, others, _PLACE) | _among(found, wide, ["locomotive", "component"])
    return found.assign(open=is_open, listed=listed & ~is_open)


def _among(found: pd.DataFrame, names: pd.DataFrame, words: list[str]) -> pd.Series[bool]:
    keys = pd.MultiIndex.from_frame(names[words])
    return pd.Series(pd.MultiIndex.from_frame(found[words]).isin(keys), found.index)


def _came(ground: Ground, cut: datetime, days: float) -> pd.DataFrame:
    query = text_of("came.sql").format(
        episode=ground.sources["episode"],
        counted=ground.counted,
        defect_kept=ground.kept(defect="defect"),
        work=current_sql("work", "locomotive IN (SELECT locomotive FROM asked_record)"),
        inspections=ground.in_force("inspections"),
    )
    return ground.rows(query, cut=cut, end=cut + timedelta(days=days))


def _scored(joined: pd.DataFrame, cut: datetime, days: float) -> pd.DataFrame:
    span = timedelta(days=days)
    came = joined["came_at"].notna() & (joined["came_at"] <= joined["followed_to"])
    followed = ((joined["followed_to"] - cut).dt.total_seconds() / span.total_seconds()).clip(0, 1)
    horizons = (cut - joined["begins_at"]).dt.total_seconds() / span.total_seconds()
    even = joined["even"].fillna(0.0)
    rate = np.where(
        even > 0, (joined["past"] + _HALF) / (horizons + _HALF / even.where(even > 0, 1.0)), 0.0
    )
    known = joined["events"] >= FEWEST_EVENTS
    told = {
        "chance": joined["expected"],
        "age_chance": joined["usual"],
        "count_chance": rate / joined["stated"].clip(lower=1e-9),
        "class_chance": joined["even"],
    }
    return joined.assign(
        cut=cut,
        came=came.astype("float64"),
        weight=np.where(came, 1.0, followed),
        **{name: (-np.expm1(-due * joined["stated"])).where(known) for name, due in told.items()},
    )


def _found(ground: Ground, joined: pd.DataFrame, cut: datetime, days: float) -> pd.DataFrame:
    """Return how many were found on each locomotive that was followed all the way."""
    counts = ground.rows(
        f"SELECT locomotive, count(*)::DOUBLE AS found FROM {ground.sources['episode']}"
        f" SEMI JOIN asked_place USING (class, component) WHERE {ground.counted}"
        f" AND {ground.kept(defect='defect')} AND observed AND found_at > $cut AND found_at <= $end"
        " GROUP BY locomotive ORDER BY locomotive",
        cut=cut,
        end=cut + timedelta(days=days),
    )
    whole = ground.rows(
        "SELECT locomotive FROM asked_record WHERE ends_at >= $end", end=cut + timedelta(days=days)
    )
    each = joined.groupby("locomotive", as_index=False).agg(
        {
            "usual": "sum",
            "expected": "sum",
            "ratio": "first",
            "ratio_sd": "first",
            "spread": "first",
        }
    )
    each = each.merge(whole, on="locomotive").merge(counts, how="left", on="locomotive")
    return each.fillna({"found": 0.0}).assign(cut=cut)
