"""What to expect of the next weeks: defects by locomotive or position, with and without the job."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.bunching import bunching
from analytics.answers.clocks import whole
from analytics.answers.ground import Ground
from analytics.answers.outlook import Outlook, look_ahead, read_horizon
from analytics.answers.seasons import note_of
from analytics.estimate.forecast import FEWEST_EVENTS, count_bounds
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotive", "class", "depot", "expected", "lower", "upper", "expected_if_done", "lost_days",
    "lost_days_if_done", "cost", "cost_if_done", "reason", "note",
)  # fmt: skip
POSITION_COLUMNS = (
    "rank", "locomotive", "class", "depot", "component", "position", "clock", "age", "start_known",
    "use", "chance", "expected", "expected_if_done", "ratio", "lost_days", "lost_days_if_done",
    "cost", "cost_if_done", "note",
)  # fmt: skip
WORST = 3
"""So many positions are named as the reason of a locomotive's figure."""

_PLACE = ["component", "locomotive", "position"]
_LOSSES = ("lost_days", "lost_days_if_done", "cost", "cost_if_done")


def next_weeks(
    reader: Reader, scope: Scope, *, horizon: str = "28d", positions: bool = False
) -> Answer:
    """Forecast the defects of the next weeks.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Filters choose what is shown and change no figure, but for
        defects: then only these count. Without a clock each component is taken on its own.
    horizon
        How far to look ahead from each locomotive's data cut, `28d`.
    positions
        A row per position in place of one per locomotive.

    Returns
    -------
    Answer
        Most expected failures first. By locomotive: expected failures over the horizon, bounds of
        how many there will be at the scope's level (`analytics.estimate.forecast.count_bounds`),
        days down and cost to expect, and the same if the positions named in `reason` were renewed
        now (what the job itself takes is not in it). By position: age and use on its clock,
        `chance` of a failure (`analytics.estimate.forecast.forecast`), failures, days down and cost
        expected as it is and if renewed now, `ratio`: how many times the usual its locomotive
        fails.

    Conventions
    -----------
    METHODS section 9. Where a renewal lets expect no fewer failures, it is taken as not done. What
    is named as the reason has a chance (5 failures of its kind at least) above that of what is not
    named. With fewer than 5 failures on record in all, no figure is told. Days
    down and cost are expected failures times the means of the component's failures on record; no
    cost written: empty. A locomotive out of use at its data cut is expected to run nothing.

    Raises
    ------
    ScopeError
        For an unknown name, or a horizon that is not above 0.
    """
    days = read_horizon(horizon)
    outlook = look_ahead(reader, scope, days)
    short = outlook.events < FEWEST_EVENTS
    frame = _with_losses(outlook)
    if short:
        frame[["usual", "usual_new", "expected", "chance", "lost_days", "cost"]] = np.nan
    frame["if_done"] = np.minimum(frame["usual_new"] * frame["ratio"], frame["expected"])
    frame["saved"] = frame["expected"] - frame["if_done"]
    table = (
        _by_position(frame)
        if positions
        else _by_locomotive(frame, scope.level, spread=bunching(reader, scope, days))
    )
    basis = make_basis(
        outlook.ground,
        f"{whole(days)} days ahead: intensity by age, class and component; ratio of the locomotive"
        " gamma-Poisson",
        events=outlook.events,
        left_out=outlook.left_out,
    )
    reading = _nothing_to_tell(table, days, outlook) or (
        _reading_of_positions(table, days) if positions else _reading(table, days, scope)
    )
    columns = POSITION_COLUMNS if positions else COLUMNS
    notes = _notes(outlook, days, positions=positions)
    return Answer("next-weeks", table[list(columns)], basis, reading, notes)


def name_place(component: object, position: object, places: object) -> str:
    """Name a position; the only one of its kind needs no number."""
    return f"{component} {position}" if places != 1 else str(component)


def losses(ground: Ground) -> pd.DataFrame:
    """Return component, `down_days` and `cost`: means of a counted failure; reads `asked_record`.

    Taken over all locomotives and the whole record up to the period's end.
    """
    return ground.rows(
        f"SELECT component, avg(coalesce(down_hours, 0)) / 24 AS down_days, avg(cost) AS cost_each"
        f" FROM {ground.sources['episode']} WHERE {ground.counted} AND found_at < $until"
        " GROUP BY component ORDER BY component",
        until=ground.until,
    )


def _with_losses(outlook: Outlook) -> pd.DataFrame:
    ground = outlook.ground
    places = ground.rows("SELECT class, component, positions AS places FROM asked_place")
    found = outlook.frame.merge(losses(ground), how="left", on="component")
    found = found.merge(places, how="left", on=["class", "component"])
    return found.assign(
        lost_days=found["expected"] * found["down_days"].fillna(0.0),
        cost=found["expected"] * found["cost_each"],
    )


def _if_done(frame: pd.DataFrame) -> pd.DataFrame:
    """Add the days and the cost left to expect when `saved` failures do not come."""
    return frame.assign(
        lost_days_if_done=frame["lost_days"] - frame["saved"] * frame["down_days"].fillna(0.0),
        cost_if_done=frame["cost"] - frame["saved"] * frame["cost_each"],
    )


def _by_position(frame: pd.DataFrame) -> pd.DataFrame:
    few = say(Message("outlook.too_few"))
    unknown = say(Message("outlook.age_unknown"))
    idle, no_use = say(Message("outlook.stored")), say(Message("outlook.no_use"))
    parts = {
        few: frame["events"] < FEWEST_EVENTS,
        unknown: ~frame["start_known"].astype(bool),
        idle: frame["stored"].astype(bool),
        no_use: frame["use"].isna(),
    }
    remarks = pd.DataFrame(parts)
    note = [
        "; ".join(text for text, applies in zip(parts, row, strict=True) if applies)
        for row in remarks.itertuples(index=False)
    ]
    found = _if_done(frame.rename(columns={"if_done": "expected_if_done"}).assign(note=note))
    found = found.sort_values(
        ["expected", *_PLACE], ascending=[False, True, True, True], na_position="last",
        ignore_index=True,
    )  # fmt: skip
    return found.assign(
        rank=np.arange(1, len(found) + 1), position=found["position"].astype("Int64")
    )


def _by_locomotive(frame: pd.DataFrame, level: float, *, spread: float) -> pd.DataFrame:
    if frame.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    ordered = frame.sort_values(
        ["locomotive", "expected", "component", "position"], ascending=[True, False, True, True]
    )
    worst = _stand_out(ordered)
    ordered = _if_done(ordered.assign(saved=ordered["saved"].where(worst, 0.0)))
    groups = ordered.groupby("locomotive", sort=True)
    table = groups.agg(
        {"class": "first", "depot": "first", "ratio": "first", "ratio_sd": "first",
         "saved": "sum", "stored": "max"}
    ).reset_index()  # fmt: skip
    for name in ("expected", "usual", *_LOSSES):
        table[name] = groups[name].sum(min_count=1).to_numpy()
    table["expected_if_done"] = table["expected"] - table["saved"]
    bounds = count_bounds(
        table["usual"], table["ratio"], table["ratio_sd"], level=level, spread=spread
    )
    table["lower"], table["upper"] = bounds
    table["reason"] = _reasons(ordered[worst], table["locomotive"])
    stored, no_use = say(Message("outlook.stored")), say(Message("outlook.no_use"))
    unread = groups["use"].count().to_numpy() == 0
    table["note"] = np.where(table["stored"], stored, np.where(unread, no_use, ""))
    order = ["expected", "locomotive"]
    return table.sort_values(order, ascending=[False, True], ignore_index=True)


def _stand_out(ordered: pd.DataFrame) -> pd.Series[bool]:
    """Tell the 3 at most of each locomotive whose chance is above that of all others of it.

    What has no chance is not named, nor are equals of which only the alphabet would choose.
    """
    chance = ordered["chance"].round(12)  # equals differ by rounding alone
    chance = chance.where(chance > 0)
    of = ordered["locomotive"]
    place = chance.groupby(of).rank(method="max", ascending=False)
    alike = (chance.groupby(of).transform("nunique") == 1) & (
        chance.groupby(of).transform("count") > 1
    )
    return (place <= WORST) & ~alike


def _reasons(worst: pd.DataFrame, locomotives: pd.Series[str]) -> list[str]:
    texts = [
        say(Message("outlook.part", place=name_place(*row[:3]), percent=round(100 * row[3])))
        for row in worst[["component", "position", "places", "chance"]].itertuples(index=False)
    ]
    named = pd.Series(texts, dtype=object).groupby(worst["locomotive"].to_numpy()).agg(", ".join)
    return [str(text) for text in named.reindex(locomotives, fill_value="")]


def _nothing_to_tell(table: pd.DataFrame, days: float, outlook: Outlook) -> Message | None:
    """Say why there is no figure at all, where there is none."""
    if table.empty:
        return Message("outlook.nothing")
    if outlook.events < FEWEST_EVENTS:
        return Message(
            "outlook.too_short", days=whole(days), failures=outlook.events, fewest=FEWEST_EVENTS
        )
    if table["expected"].isna().all():
        return Message("outlook.no_running", days=whole(days))
    return None


def _reading(table: pd.DataFrame, days: float, scope: Scope) -> Message:
    first = table.iloc[0]
    if not first["expected"] > 0:
        return Message("outlook.none_expected", days=whole(days))
    above_all = ""
    if first["reason"]:
        above_all = say(Message("outlook.above_all", reason=str(first["reason"])))
    return Message(
        "outlook.locomotives",
        days=whole(days),
        expected=float(table["expected"].sum()),
        number=len(table),
        locomotive=str(first["locomotive"]),
        most=float(first["expected"]),
        lower=int(first["lower"]),
        upper=int(first["upper"]),
        percent=whole(100 * scope.level),
        above_all=above_all,
    )


def _reading_of_positions(table: pd.DataFrame, days: float) -> Message:
    told = table[table["chance"].notna()]
    if not (table["expected"] > 0).any():
        return Message("outlook.none_expected", days=whole(days))
    if told.empty or not told["expected"].iloc[0] > 0:
        return Message("outlook.no_kind", days=whole(days), fewest=FEWEST_EVENTS)
    first = told.iloc[0]
    return Message(
        "outlook.positions",
        days=whole(days),
        place=f"{first['component']} {first['position']}",
        locomotive=str(first["locomotive"]),
        chance=round(100 * float(first["chance"])),
        number=len(table),
    )


def _notes(outlook: Outlook, days: float, *, positions: bool) -> tuple[Message, ...]:
    frame = outlook.frame
    unknown, few = int((~frame["start_known"].astype(bool)).sum()), frame["events"] < FEWEST_EVENTS
    notes = [Message("outlook.as_it_was")] if len(frame) else []
    if (frame["chance"] > 0).any() and outlook.events >= FEWEST_EVENTS:
        notes.append(Message("outlook.chance", days=whole(days)))
    if len(frame) and outlook.events >= FEWEST_EVENTS:
        notes.append(note_of(frame))
    if not positions and len(frame):
        notes.append(Message("outlook.counts"))
    if unknown:
        notes.append(Message("outlook.unknown_ages", positions=unknown, all=len(frame)))
    if few.any():
        notes.append(Message("outlook.few_kinds", positions=int(few.sum()), fewest=FEWEST_EVENTS))
    if frame["use"].isna().any():
        notes.append(Message("outlook.unknown_use", positions=int(frame["use"].isna().sum())))
    if len(outlook.clocks) > 1:
        notes.append(Message("standouts.own_clock"))
    return tuple(notes)
