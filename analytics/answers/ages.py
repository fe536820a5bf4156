"""How old what is fitted now is, and how many of its kind last that long."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.clocks import TICKS, on_clock
from analytics.answers.ground import Ground, lay_ground, text_of
from analytics.answers.lives import Lives
from analytics.answers.survival import competing, read_ground
from analytics.estimate.survival import SurvivalCurve, kaplan_meier, median_from_curve
from analytics.history.build import POSITIONS_OF
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotive", "class", "component", "position", "clock", "since", "start_known", "age",
    "left_share", "median", "last_action",
)  # fmt: skip
LEAST_FAILURES = 3
"""With fewer failures of its kind no share is told."""

_KIND = ["class", "component"]
_PLACE = ["locomotive", "component", "position"]
FloatArray = NDArray[np.float64]


def ages(reader: Reader, scope: Scope) -> Answer:
    """List the age of what each position holds now, beside how long its kind lasts.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. `locomotives` and `depots` (at the end of the life) choose
        the rows; they are compared with all lives of their class. `until` moves the data cut back,
        `since` is where lives begin to be compared. The level is not used.

    Returns
    -------
    Answer
        A row per position of a locomotive in service, lowest share first: since when it has held
        what it holds, the age at the locomotive's data cut, the share of lives of the same class
        and component that go on beyond that age, their median life, and what was done to it last.

    Conventions
    -----------
    Where the start is not known (`start_known` false) the age is what was seen of it: at least
    that, and the share is at most that. Share and median are read off one Kaplan-Meier curve per
    class and component, of lives whose start is known, the one in progress among them.

    Limits
    ------
    Share and median are NaN with fewer than 3 failures. Past the age from which fewer than 5 lives
    are at risk the share is that at this age: at most so many last longer. The age is NaN where
    the counter is not known at the data cut.
    """
    ground = lay_ground(reader, scope)
    found = in_progress(ground)
    now = _with_actions(found[found["in_progress"]], ground)
    basis = make_basis(ground, "kaplan-meier by class and component", events=0, censored=len(now))
    kinds = _kinds(ground)  # lays out its own: nothing is read off this one any more
    basis = replace(basis, events=int(kinds.lives.frame["failed"].sum()))
    table = _compared(now, kinds.curves)
    beyond = _beyond(table, kinds.curves)
    table = table.assign(left_share=table["left_share"].fillna(beyond)).sort_values(
        ["left_share", "age", "component", "locomotive", "position"],
        ascending=[True, False, True, True, True], na_position="last", ignore_index=True,
    )  # fmt: skip
    table["position"] = table["position"].astype("Int64")
    counts = {
        "unknown_start": int((~table["start_known"]).sum()),
        "no_clock": int(table["age"].isna().sum()),
        "beyond": int(beyond.notna().sum()),
    }
    notes = _notes(kinds, counts, without=len(found) - len(now))
    return Answer("ages", table[list(COLUMNS)], basis, _reading(table, ground), notes)


@dataclass(frozen=True, slots=True)
class _Kinds:
    """How long lives of each class and component last."""

    lives: Lives
    curves: dict[tuple[str, str], SurvivalCurve]
    competing: tuple[str, ...]


def _kinds(asked: Ground) -> _Kinds:
    """Read the lives of all locomotives of the classes in scope, one curve for each kind."""
    classes = tuple(asked.rows("SELECT DISTINCT class FROM asked_record ORDER BY class")["class"])
    all_of_them = replace(asked.scope, classes=classes, locomotives=(), depots=())
    ground, lives = read_ground(asked.reader, all_of_them)
    entry, exit_age, failed = (lives.frame[name].to_numpy() for name in ("entry", "exit", "failed"))
    curves = {
        cast(tuple[str, str], key): kaplan_meier(entry[rows], exit_age[rows], failed[rows])
        for key, rows in lives.frame.groupby(_KIND, sort=False).indices.items()
    }
    return _Kinds(lives, curves, ground.scope.defects if competing(ground) else ())


def in_progress(ground: Ground) -> pd.DataFrame:
    """Read what each position in scope holds at its locomotive's data cut, with its age then."""
    query = text_of("in_progress.sql").format(
        life=ground.sources["life"],
        counting=ground.scope.counting,
        ends_tick=ground.tick("r.ends"),
        start_tick=ground.tick("l.start"),
        depot_kept=ground.kept(depot="coalesce(l.depot, '')"),
    )
    found = ground.rows(query, until=ground.until)
    of_clock = {name: c.clock == ground.clock for name, c in ground.catalogue.components.items()}
    # an age handed in with a part is on its component's own clock
    on_its_clock = found["component"].map(of_clock).astype(bool) | (found["start_age"] == 0)
    known = found["start_known"].astype(bool) & on_its_clock
    run = found["ticks"].astype("Float64").to_numpy(dtype=np.float64, na_value=np.nan)
    age = run / TICKS[ground.clock] + np.where(known, found["start_age"].fillna(0.0), 0.0)
    return found.assign(start_known=known, age=age, clock=ground.clock)


def _with_actions(found: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    ground.reader.cursor.execute(POSITIONS_OF)
    query = text_of("last_action.sql").format(
        closing=ground.sources["closing"],
        work=ground.in_force("work", "locomotive IN (SELECT locomotive FROM asked_record)"),
    )
    actions = ground.rows(query, until=ground.until)
    return found.merge(actions, on=_PLACE, how="left", validate="one_to_one")


def _compared(found: pd.DataFrame, curves: dict[tuple[str, str], SurvivalCurve]) -> pd.DataFrame:
    """Put the share that goes on and the median beside each age, kind by kind."""
    age = found["age"].to_numpy(dtype=np.float64)
    share, median = np.full(len(found), np.nan), np.full(len(found), np.nan)
    for key, rows in found.groupby(_KIND, sort=False).indices.items():
        curve = curves.get(cast(tuple[str, str], key))
        if curve is not None and curve.failures >= LEAST_FAILURES:
            share[rows] = share_beyond(curve, age[rows])
            median[rows] = median_from_curve(curve).median
    return found.assign(left_share=share, median=median)


def _beyond(found: pd.DataFrame, curves: dict[tuple[str, str], SurvivalCurve]) -> pd.Series:
    """Return, for ages past the end of their kind's curve, the share at that end; else NaN."""
    share = pd.Series(np.nan, index=found.index)
    for key, rows in found.groupby(_KIND, sort=False).groups.items():
        curve = curves.get(cast(tuple[str, str], key))
        if curve is None or curve.failures < LEAST_FAILURES or np.isnan(curve.cut_age):
            continue
        older = rows[(found.loc[rows, "age"] > curve.cut_age).to_numpy()]
        share[older] = share_beyond(curve, np.array([curve.cut_age]))[0]
    return share


def share_beyond(curve: SurvivalCurve, age: FloatArray) -> FloatArray:
    """Return the share that goes on beyond each age; NaN outside the ages that were watched."""
    watched = (age >= curve.origin_age) & (age <= curve.cut_age)
    watched &= curve.note != "survival.few_at_risk"
    row = np.searchsorted(curve.age, age, side="right") - 1
    return np.where(watched, curve.survival[np.maximum(row, 0)], np.nan)


def _reading(table: pd.DataFrame, ground: Ground) -> Message:
    if table.empty:
        return Message("ages.none")
    first = table.iloc[0]
    if pd.isna(first["left_share"]):
        return Message("ages.no_share", positions=len(table))
    said: dict[str, Any] = {
        "positions": len(table),
        "component": f"{first['component']} {first['position']}",
        "locomotive": str(first["locomotive"]),
        "age": float(first["age"]),
        "percent": 100 * float(first["left_share"]),
    }
    key = "ages.oldest" if first["start_known"] else "ages.oldest_at_least"
    return on_clock(key, ground.clock, **said)


def _notes(kinds: _Kinds, counts: dict[str, int], *, without: int) -> tuple[Message, ...]:
    notes = []
    if kinds.competing:
        notes.append(Message("survival.kinds_compete", defects=kinds.competing))
    if counts["unknown_start"]:
        notes.append(Message("ages.at_least", positions=counts["unknown_start"]))
    if counts["no_clock"]:
        notes.append(Message("ages.no_clock", positions=counts["no_clock"]))
    if counts["beyond"]:
        notes.append(Message("ages.beyond", positions=counts["beyond"]))
    if without:
        notes.append(Message("ages.just_ended", positions=without))
    for name, share in kinds.lives.refused.items():
        notes.append(Message("survival.not_stated", component=name, percent=100 * share))
    if any(curve.origin_age > 0 for curve in kinds.curves.values()):
        notes.append(Message("survival.conditional"))
    return tuple(notes)
