"""What is worth a second look on each locomotive: the lines, before the best are chosen."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from analytics.answer import Message, say
from analytics.answers.findings import findings
from analytics.answers.ground import COUNTED, Ground, lay_failures, lay_ground, text_of
from analytics.answers.outlook import look_ahead
from analytics.answers.readings import readings
from analytics.estimate.forecast import FEWEST_EVENTS
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.returns import return_chance, return_rates
from analytics.history.build import POSITIONS_OF
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.current import current_sql

MOST_LINES = 10
MOST_OPEN = 5
ABOVE_CLASS = 1.5
"""A position is worth a line where its chance exceeds so many times the mean of its class's."""
WINDOW_DAYS = 30
USUAL_INTERVAL_DAYS = 7.0  # where inspections are not on record
LIKELY_KINDS = ("after-closing", "likely")
COLUMNS = (
    "locomotive", "rank", "component", "position", "kind", "chance", "reason", "last_action",
    "last_date",
)  # fmt: skip

_PLACE = ["locomotive", "component", "position"]
# lines: open, reading, failed lately, by chance, season
_MOST = (MOST_OPEN, 2, 3, MOST_LINES, 1)
_FILLING = 3  # the place in it of those that fill the sheet
_LATELY_DAYS = 7
_TELLING = 1.2  # times the usual from which age, locomotive or running is named as the reason
_CLEARLY = 1.5  # times the rest of the year
_BY_CHANCE = 0.05
_FEWEST = 5
_SEASON_YEARS = 2
_SOON = pd.Timedelta(days=31)


def read_lines(reader: Reader, scope: Scope) -> pd.DataFrame:
    """Return the lines of every locomotive in scope in service, best first, 10 each at most.

    Conventions
    -----------
    METHODS section 12, in this order: what is open, the gravest and oldest first (5 at most);
    values beyond a limit or to cross one within 31 days (2 at most); what came back within 30 days
    of a closing or failed in service, closed within 7 days (3 at most); then by chance until the
    next inspection (the locomotive's median interval) positions closed within 30 days and others,
    where it exceeds 1.5 times the mean over all positions of their class; last what the season
    brings (1 at most). The chance after a closing is that of its kind (component and action) to
    come back, not told where fewer than 5 such closings were followed, or that by age where that is
    greater. The reason of a likely one is the greatest of: its age, where it is older than half of
    its kind and fails more often for it; how often its locomotive fails; how much it runs. Season:
    more failures in the three calendar months around the data cut of earlier years than in the rest
    of the year: 1.5 times, q up to 0.05, two years at least.
    """
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    reader.cursor.execute(POSITIONS_OF)
    done = _last_done(ground)
    after, season = _closed(ground), _seasons(ground)
    record = ground.rows("SELECT locomotive, class, median_interval_days AS days FROM asked_record")
    interval = record["days"].fillna(record.groupby("class")["days"].transform("median"))
    days = dict(zip(record["locomotive"], interval.fillna(USUAL_INTERVAL_DAYS), strict=True))
    history = _returns(ground)
    positions = look_ahead(reader, scope, days).frame
    positions["ahead"] = positions["locomotive"].map(days).astype("float64")
    still = findings(reader, replace(scope, counting="any"), open=True).table
    parts = [
        _open_lines(still, positions),
        _reading_lines(readings(reader, scope).table, ground),
        *_chance_lines(_with_returns(positions, after, history), still),
        _season_lines(season, positions),
    ]
    parts = [part for part in parts if len(part)]
    if not parts:
        return pd.DataFrame(columns=list(COLUMNS))
    return _chosen(pd.concat(parts, ignore_index=True), done)


def _open_lines(still: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    found = still[still["locomotive"].isin(positions["locomotive"])].reset_index(drop=True)
    reasons = [
        say(
            Message(
                "closer.put_off" if put_off else "closer.open",
                defect=defect,
                severity=severity,
                days=round(age),
            )
        )
        for defect, severity, put_off, age in found[
            ["defect", "severity", "deferred", "age_days"]
        ].itertuples(index=False)
    ]
    return _lines(found.assign(kind="open", chance=np.nan), 0, reasons=reasons)


def _reading_lines(table: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    cut = ground.data_cut
    if table.empty or cut is None:
        return pd.DataFrame()
    heading = table["crossing_earliest"].notna() & (table["crossing_earliest"] <= cut + _SOON)
    found = table[(table["beyond"] != "") | heading].reset_index(drop=True)
    parameters = ground.catalogue.parameters
    found["component"] = found["parameter"].map({n: p.component for n, p in parameters.items()})
    places = ground.rows("SELECT class, component, positions AS places FROM asked_place")
    found = found.merge(places, how="left", on=["class", "component"])
    # which of several positions a value tells of is not written
    found["position"] = pd.Series(1, found.index).where(found["places"] == 1)
    reasons = [_reading_reason(row) for row in found.to_dict("records")]
    return _lines(found.assign(kind="reading", chance=np.nan), 1, reasons=reasons)


def _reading_reason(row: Mapping[Hashable, Any]) -> str:
    said = {"parameter": row["parameter"], "value": row["last"], "unit": row["unit"]}
    if row["beyond"]:
        attend = row["beyond"] == "attend"
        return say(Message("closer.beyond_attend" if attend else "closer.beyond_withhold", **said))
    at = pd.Timestamp(str(row["crossing_earliest"])).date()
    return say(Message("closer.crossing", **said, date=at))


def _closed(ground: Ground) -> pd.DataFrame:
    query = text_of("closed_of_late.sql").format(
        episode=ground.sources["episode"],
        counted=ground.counted,
        in_service=COUNTED["in-service"],
        window=WINDOW_DAYS,
    )
    return ground.rows(query, until=ground.until)


def _returns(ground: Ground) -> pd.DataFrame:
    """Read the closings of all locomotives of the classes in scope, and what came of each."""
    wide = replace(ground.scope, locomotives=(), depots=())
    query = text_of("closing_followed.sql").format(
        episode=ground.sources["episode"],
        closing=ground.sources["closing"],
        counted=ground.counted,
        window=WINDOW_DAYS,
    )
    whole = lay_ground(ground.reader, wide)
    return whole.rows(query, until=whole.until)


def _with_returns(
    positions: pd.DataFrame, after: pd.DataFrame, history: pd.DataFrame
) -> pd.DataFrame:
    """Add the latest closing of each position inside its window, and raise its chance by it."""
    lately = (after["came_back"] | after["in_service"]) & (after["held_days"] <= _LATELY_DAYS)
    found = positions.merge(after.assign(lately=lately), how="left", on=_PLACE)
    found["lately"] = found["lately"].eq(True)
    kinds = history[["component", "action", "effect"]].drop_duplicates(ignore_index=True)
    kinds = kinds.assign(kind=np.arange(len(kinds)))
    wider = kinds.groupby("effect", dropna=False).ngroup()
    of = history.merge(kinds, on=["component", "action", "effect"])
    kinds["followed"] = np.bincount(of["kind"], minlength=len(kinds))
    rates = return_rates(of["days"], of["came_back"], of["kind"], wider)
    found = found.merge(kinds, how="left", on=["component", "action", "effect"])
    inside = found["kind"].notna().to_numpy()
    back = np.zeros(len(found))
    some = found[inside]
    back[inside] = return_chance(rates, some["kind"], some["held_days"], some["ahead"])
    # what is too rare by age to say may well be known to come back
    usual = found["chance"].to_numpy(np.float64)
    found["after"] = inside & ~(back < np.nan_to_num(usual))
    found["chance"] = np.where(found["after"], back, usual)
    found["told"] = ~found["after"] | (found["followed"] >= FEWEST_EVENTS)
    return found


def _chance_lines(found: pd.DataFrame, still: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the lines of what failed lately, and of what has a high chance."""
    of_kind = -np.expm1(-found["even"].to_numpy(np.float64))
    of_class = pd.Series(of_kind, found.index).groupby(found["class"]).transform("mean")
    found["worth"] = found["chance"] > ABOVE_CLASS * of_class
    found["times"] = found["chance"] / -np.expm1(-found["of_like"].to_numpy(np.float64))
    waiting = still[still["position"].notna()].astype({"position": "int64"})
    is_open = pd.MultiIndex.from_frame(found[_PLACE]).isin(
        pd.MultiIndex.from_frame(waiting[_PLACE])
    )
    found = found[~is_open]
    found["chance_told"] = found["chance"].where(found["told"])
    lately = found[found["lately"]].sort_values(
        ["in_service", "held_days", *_PLACE[1:]], ascending=[False, True, True, True]
    )
    others = found[found["worth"] & ~found["lately"]]
    others = others.sort_values("chance", ascending=False, kind="stable")
    made = []
    for turn, part in ((_FILLING - 1, lately), (_FILLING, others)):
        reasons = [say(reason_of(row)) for row in part.to_dict("records")]
        kind = np.where(part["after"] | part["lately"], *LIKELY_KINDS)
        told = part.assign(kind=kind, chance=part["chance_told"])
        made.append(_lines(told, turn, reasons=reasons))
    return made[0], made[1]


def reason_of(row: Mapping[Hashable, Any]) -> Message:
    """Say why a position is listed by its chance: it failed lately, or what raises it most."""
    if row["lately"] or row["after"]:
        done = row["action"] or say(Message("closer.not_written"))
        key = "closer.after"
        if row["lately"]:
            key = "closer.failed" if row["in_service"] else "closer.returned"
        return Message(key, defect=row["defect"], done=done, days=round(row["held_days"]))
    if row["times"] < ABOVE_CLASS:
        return Message("closer.often", defects=round(row["events"]))
    factors = {
        "closer.likely_aged": row["usual"] / row["even"] if row["older"] else 0.0,
        "closer.likely_own": row["ratio"],
        "closer.likely_runs": row["even"] / row["of_like"],
    }
    times = f"{row['times']:.1f}"
    key = max(factors, key=lambda name: factors[name])
    if factors[key] < _TELLING:
        return Message("closer.likely", times=times)
    if key == "closer.likely_own":
        return Message("closer.likely_own", times=times, own=f"{row['ratio']:.1f}")
    return Message(key, times=times)


def _seasons(ground: Ground) -> pd.DataFrame:
    """Return class and component clearly worse in these months than in the rest of the year.

    The counts share one binomial law where the months are alike (the conditional test of two
    Poisson rates); Benjamini-Hochberg over all classes and components.
    """
    found = ground.rows(text_of("season.sql"), until=ground.until)
    now, rest = (found[name].to_numpy(np.float64) for name in ("found_now", "found_else"))
    days = found["days_now"] + found["days_else"]
    share = (found["days_now"] / days.where(days > 0, 1.0)).to_numpy(np.float64)
    p = special.betainc(np.maximum(now, 1e-9), rest + 1.0, share)
    with np.errstate(divide="ignore", invalid="ignore"):
        # half a failure where the rest of the year had none
        times = (now / share) / (np.maximum(rest, 0.5) / (1.0 - share))
    clear = (benjamini_hochberg(np.where(now > 0, p, 1.0)) <= _BY_CHANCE) & (times >= _CLEARLY)
    clear &= (found["years"] >= _SEASON_YEARS).to_numpy() & (now >= _FEWEST)
    found["times"] = times
    kept: pd.DataFrame = found[clear]
    return kept


def _season_lines(season: pd.DataFrame, positions: pd.DataFrame) -> pd.DataFrame:
    here = positions[["locomotive", "class", "component"]].drop_duplicates()
    found = here.merge(season, on=["class", "component"])
    found["position"] = pd.NA
    found = found.sort_values("times", ascending=False, kind="stable")
    reasons = [say(Message("closer.season", times=f"{n:.1f}")) for n in found["times"]]
    return _lines(found.assign(kind="season", chance=np.nan), 4, reasons=reasons)


def _lines(found: pd.DataFrame, turn: int, *, reasons: list[str]) -> pd.DataFrame:
    """Put found, in its order, into lines; `kind` and `chance` as found has them."""
    made = found[[*_PLACE, "kind", "chance"]].assign(
        turn=turn, order=np.arange(len(found)), reason=reasons
    )
    return made.astype({"position": "Int64", "chance": "float64"})


def _chosen(lines: pd.DataFrame, done: pd.DataFrame) -> pd.DataFrame:
    """Keep what fits on each locomotive's sheet, with what was done there last."""
    lines = lines.sort_values(["locomotive", "turn", "order"], kind="stable", ignore_index=True)
    nth = lines.groupby(["locomotive", "turn"]).cumcount()
    lines = lines[nth < lines["turn"].map(dict(enumerate(_MOST)))]
    # what is likely fills what the others leave
    first = lines.assign(fills=lines["turn"] == _FILLING).sort_values("fills", kind="stable")
    kept = first.groupby("locomotive").cumcount() < MOST_LINES
    lines = lines[kept.reindex(lines.index)]
    lines = lines.assign(rank=lines.groupby("locomotive").cumcount() + 1)
    placed = lines.merge(done.astype({"position": "Int64"}), how="left", on=_PLACE)
    newest = done.sort_values("last_date").groupby(["locomotive", "component"]).tail(1)
    wide = lines.merge(newest.drop(columns="position"), how="left", on=_PLACE[:2])
    unplaced = placed["position"].isna().to_numpy()
    for name in ("last_action", "last_date"):
        placed[name] = placed[name].where(~unplaced, wide[name].to_numpy())
    return placed[list(COLUMNS)].reset_index(drop=True)


def _last_done(ground: Ground) -> pd.DataFrame:
    query = text_of("last_action.sql").format(
        closing=ground.sources["closing"],
        work=current_sql("work", "locomotive IN (SELECT locomotive FROM asked_record)"),
    )
    return ground.rows(query, until=ground.until)
