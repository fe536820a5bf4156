"""What stands out: locomotives, positions, parts or depots with more trouble than their like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import NOT_IN_USE, in_use, make_basis
from analytics.answers.clocks import whole
from analytics.answers.expected import Expected, expect
from analytics.answers.funnel import funnel_notes, funnel_reading, funnel_table
from analytics.answers.ground import lay_ground
from analytics.answers.groups import finished
from analytics.errors import ScopeError, unknown_name
from analytics.estimate.rate import IntArray
from analytics.estimate.standouts import BETA_BINOMIAL, MOST_FALSE, Parts, Standouts, find_standouts
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "class", "observed", "expected", "ratio", "shrunk", "shrunk_lower", "shrunk_upper",
    "chance_above", "p", "q", "stands_out", "lost_hours", "cost", "method", "note",
)  # fmt: skip
RANKS = {"ratio": ["stands_out", "shrunk_lower"], "hours": ["lost_hours"], "cost": ["cost"]}
"""What a ranking sorts by, greatest first."""


@dataclass(frozen=True, slots=True)
class Unit:
    """What is compared: the columns that name it, and those within which it is compared."""

    words: tuple[str, ...]
    within: tuple[str, ...]
    placed: bool = False
    known_by: str = ""
    of_locomotives: bool = False  # made up of several: their spread is what it is judged by


UNITS = {
    ("locomotive",): Unit(("locomotive",), ("class",)),
    ("locomotive", "component"): Unit(("locomotive", "component"), ("class", "component")),
    ("position",): Unit(
        ("locomotive", "component", "position"), ("class", "component"), placed=True
    ),
    ("depot",): Unit(("depot",), (), of_locomotives=True),
    ("depot", "component"): Unit(("depot", "component"), ("component",), of_locomotives=True),
    ("serial",): Unit(("component", "serial"), ("component",), placed=True, known_by="serial"),
    ("series",): Unit(
        ("component", "series"),
        ("component",),
        placed=True,
        known_by="series",
        of_locomotives=True,
    ),
}
"""The words that standouts can be asked by, and what each means."""


def standouts(
    reader: Reader,
    scope: Scope,
    *,
    by: Sequence[str] = (),
    rank: str = "ratio",
    window: str = "30d",
    funnel: bool = False,
) -> Answer:
    """Find what has more first findings than its like, by more than chance.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Without a clock, each component's own.
    by
        `locomotive` (none: the same), `locomotive,component`, `position`, `depot`,
        `depot,component`, `serial` (one part wherever it was fitted) or `series` (parts whose
        serial begins with the same letters).
    rank
        Order of the rows: `ratio`, `hours` (lost) or `cost`.
    window
        A finding within this window after a closing of its position belongs to the one before.
    funnel
        Each unit's ratio beside what chance alone would let it be, in place of the judgement, see
        `analytics.answers.funnel`; `rank` orders nothing then.

    Returns
    -------
    Answer
        A row per unit: first findings observed and expected, their ratio, the ratio shrunk towards
        the unit's like with bounds and the chance that it is above 1.25, the chance p of as many
        or more, q over all rows, `stands_out`; lost hours and cost of all failures counted.

    Conventions
    -----------
    METHODS section 6. Expected counts are those of `analytics.answers.expected`, brought to the
    total of what the unit is compared within: its class (and component), for depots and parts the
    component. A part is known only by the serial written when it was fitted.
    """
    unit = _unit(tuple(by) or ("locomotive",))
    if rank not in RANKS:
        raise ScopeError(unknown_name("rank", rank, RANKS))
    lay_ground(reader, scope)  # refuses unknown names
    # Locomotives choose rows alone: one of them is compared with its like, not with itself.
    given = expect(reader, replace(scope, locomotives=()), first_within=window)
    counts = _counts(given, unit)
    found = find_standouts(
        counts["events"],
        counts["expected"],
        stratum=_strata(counts, unit),
        parts=_parts(given, counts, unit) if unit.of_locomotives else None,
        level=scope.level,
    )
    table = funnel_table(counts, found, unit.words) if funnel else _table(counts, found, unit)
    if scope.locomotives and "locomotive" in unit.words:
        table = table[table["locomotive"].isin(scope.locomotives)]
    if not funnel:
        table = table.sort_values(RANKS[rank], ascending=False, kind="stable", ignore_index=True)
    basis = make_basis(
        given.ground,
        _method(found, window),
        events=int(counts["events"].sum()),
        exposure=given.exposure,
        left_out=_left_out(given, unit),
    )
    basis = replace(basis, clock=given.clocks[0] if len(given.clocks) == 1 else "own")
    if funnel:
        reading, notes = funnel_reading(table), [*funnel_notes(found), *_counted(given, window)]
    else:
        reading, notes = _reading(table, given, unit), _notes(found, given, unit, window)
    return Answer("standouts", table, basis, reading, tuple(notes))


def _unit(by: tuple[str, ...]) -> Unit:
    if by not in UNITS:
        known = "; ".join(",".join(words) for words in UNITS)
        raise ScopeError(f"standouts goes by one of {known}, not by {','.join(by)}.")
    return UNITS[by]


def _counts(given: Expected, unit: Unit) -> pd.DataFrame:
    """Return a row per unit: its words, class, events, expected, lost_hours and cost."""
    frame, losses = _named(given.frame, unit), _named(given.losses, unit)
    keys = [*unit.words, *(["class"] if "class" in unit.within else [])]
    counts = frame.groupby(keys, as_index=False)[["events", "expected"]].sum()
    # a row of nothing at risk says nothing
    counts = counts[(counts["expected"] > 0) | (counts["events"] > 0)]
    lost = losses.groupby(list(unit.words), as_index=False)[["lost_hours", "cost"]].sum()
    counts = counts.merge(lost, how="left", on=list(unit.words))
    counts[["lost_hours", "cost"]] = counts[["lost_hours", "cost"]].fillna(0.0)
    return counts


def _named(frame: pd.DataFrame, unit: Unit) -> pd.DataFrame:
    """Keep the rows that belong to a unit, and name the series of a part."""
    if unit.placed:
        frame = frame[frame["position"] > 0]
    if unit.known_by:
        letters = frame["serial"].str.extract(r"^(\D*)", expand=False)
        frame = frame.assign(series=letters.str.strip(" -/._"))
        frame = frame[frame[unit.known_by] != ""]
    return frame


def _strata(counts: pd.DataFrame, unit: Unit) -> IntArray:
    if not unit.within or counts.empty:
        return np.zeros(len(counts), dtype=np.int64)
    return np.asarray(counts.groupby(list(unit.within)).ngroup(), dtype=np.int64)


def _parts(given: Expected, counts: pd.DataFrame, unit: Unit) -> Parts:
    """Return what each locomotive has of each unit."""
    words = list(unit.words)
    frame = _named(given.frame, unit)
    each = frame.groupby([*words, "locomotive"], as_index=False)[["events", "expected"]].sum()
    place = counts[words].assign(place=np.arange(len(counts)))
    each = each.merge(place, on=words)
    return Parts(
        each["events"].to_numpy(dtype=np.float64),
        each["expected"].to_numpy(dtype=np.float64),
        each["place"].to_numpy(dtype=np.int64),
    )


def _table(counts: pd.DataFrame, found: Standouts, unit: Unit) -> pd.DataFrame:
    names = [name for name in COLUMNS if hasattr(found, name) and name != "note"]
    figures = {name: getattr(found, name) for name in names}
    remarks = [say(Message(str(key))) if key else "" for key in found.note]
    table = counts.assign(**figures, note=remarks).astype({"observed": "int64"})
    if "class" not in table:
        table["class"] = None
    return finished(table[[*unit.words, *COLUMNS]], (*unit.words, *COLUMNS))


def _method(found: Standouts, window: str) -> str:
    laws = sorted({str(name) for name in found.method if name})
    return ", ".join([*laws, "gamma-Poisson shrinkage", f"first findings {window} apart"])


def _left_out(given: Expected, unit: Unit) -> dict[str, int]:
    counts = dict(given.left_out)
    if not unit.placed:
        counts.pop("no_position", None)
    return counts


def _notes(found: Standouts, given: Expected, unit: Unit, window: str) -> list[Message]:
    notes = []
    named = int(found.stands_out.sum())
    if named:
        notes.append(Message("standouts.false", percent=whole(100 * MOST_FALSE)))
    spread = int((found.method == BETA_BINOMIAL).sum())
    if spread == found.p.size and spread:
        like = "standouts.like_others" if unit.placed else "standouts.like_locomotives"
        notes.append(Message("standouts.spread_all", like=say(Message(like))))
    elif spread:
        notes.append(Message("standouts.spread", rows=spread, all=found.p.size))
    notes += _counted(given, window)
    if unit.known_by:
        told = given.frame[given.frame["position"] > 0]
        total = float(told["expected"].sum())
        known = float(told.loc[told["serial"] != "", "expected"].sum())
        notes.append(Message("standouts.known", percent=100 * known / total if total else 0.0))
    return notes


def _counted(given: Expected, window: str) -> list[Message]:
    """Say what is counted, and by which clock it is expected."""
    notes = [Message("standouts.first", window=window)]
    if len(given.clocks) > 1:
        notes.append(Message("standouts.own_clock"))
    return notes


def _reading(table: pd.DataFrame, given: Expected, unit: Unit) -> Message:
    if not in_use(given.ground):
        return Message(NOT_IN_USE)
    if not table["observed"].sum():
        return Message("standouts.nothing")
    judged = int(table["p"].notna().sum())
    if not judged:
        return Message("standouts.not_compared")
    named = table[table["stands_out"]].sort_values("shrunk_lower", ascending=False, kind="stable")
    if named.empty:
        return Message("standouts.none", rows=judged)
    first = named.iloc[0]
    values = {
        "name": " ".join(str(first[word]) for word in unit.words),
        "observed": int(first["observed"]),
        "expected": float(first["expected"]),
        "rows": judged,
    }
    if len(named) == 1:
        return Message("standouts.one", **values)
    return Message("standouts.several", number=len(named), **values)
