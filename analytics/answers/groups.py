"""Rows of a table by group: which groups there are, what each rests on, what happened in it.

A *cell* is one locomotive within one group. Class, depot, locomotive and month split exposure,
component and position split the places a locomotive has, defect and action split failures only:
every kind has the whole exposure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import cast

import pandas as pd

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground
from analytics.errors import ScopeError
from analytics.scope import GROUPS

TIME_WORDS = ("class", "depot", "locomotive", "month")
PLACE_WORDS = ("component", "position")
KIND_WORDS = ("defect", "action")
IN_ORDER = ("month", "class", "depot")
"""Groups that are read in their own order, and not the worst first."""
Key = tuple[str | int, ...]


def check_groups(by: Sequence[str], question: str, *, allowed: Sequence[str]) -> tuple[str, ...]:
    """Return the group words, or refuse one that a question cannot be split by.

    Raises
    ------
    ScopeError
        Naming the word and those that can be used.
    """
    for word in by:
        if word not in allowed:
            raise ScopeError(
                f"{question} cannot be split by {word!r}, only by {', '.join(allowed)}."
            )
    return tuple(by)


def cells(ground: Ground, by: Sequence[str]) -> pd.DataFrame:
    """Return every cell with exposure, from `asked_exposure` and `asked_episode`.

    Returns
    -------
    DataFrame
        The columns of `by`, `unit` (the locomotive), `places` (positions it has in the group) and
        `exposure` (positions x clock, in h, km or days; NaN where the counter is not known).
    """
    base = ["class", "locomotive AS unit", *(w for w in TIME_WORDS[1:] if w in by)]
    if "defect" in by:
        _lay_defects(ground)
    return ground.rows(
        f"""WITH seen AS (
            SELECT {", ".join(base)}, sum(to_tick - from_tick)::BIGINT AS ticks
            FROM asked_exposure GROUP BY ALL
        ), place AS ({_places(by)}), kind AS ({_kinds(by)})
        SELECT {", ".join([*by, "unit"])}, sum(places)::BIGINT AS places,
            sum(places * ticks)::DOUBLE / {TICKS[ground.clock]} AS exposure
        FROM seen JOIN place USING (class) {_kind_join(by)} GROUP BY ALL ORDER BY ALL"""
    )


def events(ground: Ground, by: Sequence[str], *, stated: bool = False) -> pd.DataFrame:
    """Return the failures that count: observed, with a clock, and a position where asked for.

    Parameters
    ----------
    ground
        Its `asked_episode` is read.
    by
        Group words; by position, a position is needed.
    stated
        Whether only failures with a stated position count.

    Returns
    -------
    DataFrame
        The columns of `by`, `class`, `depot`, `month`, `unit` (the locomotive) and `tick`.
    """
    words = dict.fromkeys([*by, "class", "depot", "month"])
    return ground.rows(
        f"SELECT {', '.join(words)}, locomotive AS unit, found_tick AS tick FROM asked_episode"
        f" WHERE {counts_as_event(by, stated=stated)} ORDER BY ALL"
    )


def count_events(ground: Ground, by: Sequence[str], *, stated: bool = False) -> pd.DataFrame:
    """Count the failures of `events` by the columns of `by` and `unit`, as `failures`."""
    return ground.rows(
        f"SELECT {', '.join([*by, 'locomotive AS unit'])}, count(*) AS failures"
        f" FROM asked_episode WHERE {counts_as_event(by, stated=stated)} GROUP BY ALL ORDER BY ALL"
    )


def counts_as_event(by: Sequence[str], *, stated: bool = False, of: str = "") -> str:
    """Return the SQL of which rows of `asked_episode` count, see `events`; `of` is its prefix."""
    placed = f"{of}position IS NOT NULL" if stated or "position" in by else "true"
    return f"{of}observed AND {of}found_tick IS NOT NULL AND {placed}"


def left_out(ground: Ground, *, without_position: bool = False) -> dict[str, int]:
    """Count the counted failures that a figure could not use, by reason (METHODS section 0)."""
    counts = ground.rows(
        "SELECT count(*) FILTER (observed AND found_tick IS NULL) AS no_clock,"
        " count(*) FILTER (NOT observed) AS out_of_window,"
        " count(*) FILTER (observed AND found_tick IS NOT NULL AND position IS NULL) AS no_position"
        " FROM asked_episode"
    ).iloc[0]
    kept = ["no_clock", "out_of_window", *(["no_position"] if without_position else [])]
    return {reason: int(counts[reason]) for reason in kept if counts[reason]}


def each_group(
    frame: pd.DataFrame, by: Sequence[str], *others: pd.DataFrame
) -> Iterator[tuple[Key, pd.DataFrame, tuple[pd.DataFrame, ...]]]:
    """Walk the groups of any of the frames in order: the key and each frame's rows of it.

    Without group words there is one group of everything, also when every frame is empty.
    """
    if not by:
        yield (), frame, others
        return
    frames = (frame, *others)
    parts = [
        {cast(Key, key): part for key, part in one.groupby(list(by), sort=False, dropna=False)}
        for one in frames
    ]
    for key in sorted(set().union(*parts)):
        found = [part.get(key, one.iloc[:0]) for part, one in zip(parts, frames, strict=True)]
        yield key, found[0], tuple(found[1:])


def finished(rows: list[dict[str, object]] | pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Make the answer's table: columns in their order, empty names as missing."""
    table = pd.DataFrame(rows, columns=list(columns))
    for word in (*TIME_WORDS, *KIND_WORDS):
        if word in table:
            table[word] = table[word].astype(object).where(table[word] != "", None)
    return table


def ranked(
    table: pd.DataFrame, by: Sequence[str], column: str, *, ascending: bool = False
) -> pd.DataFrame:
    """Put the rows with the most telling figure first, undefined last.

    Ties keep the order of their names; months, classes and depots keep their own order.
    """
    if not by or any(word in by for word in IN_ORDER):
        return table
    return table.sort_values(column, ascending=ascending, kind="stable", ignore_index=True)


def curve_table(
    curves: Sequence[tuple[Key, object]], columns: Sequence[str], *, clock: str
) -> pd.DataFrame:
    """Make the table of step curves, group below group, from their fields named as the columns."""
    by = [word for word in columns if word in GROUPS]
    frames = []
    for key, curve in curves:
        names = [name for name in columns if name not in (*by, "clock")]
        frame = pd.DataFrame({name: getattr(curve, name) for name in names})
        frame["clock"] = clock
        for word, value in zip(by, key, strict=True):
            frame[word] = value
        frames.append(frame)
    return finished(pd.concat(frames, ignore_index=True) if frames else [], columns)


def label(by: Sequence[str], key: Key, ground: Ground) -> str:
    """Name a group in the catalogue's own names; the pooled one by the filters of the Scope."""
    if by:
        named = zip(by, key, strict=True)
        return ", ".join(
            f"{word} {name}" if word == "position" else str(name)
            for word, name in named
            if name != ""
        )
    scope = ground.scope
    names = (*scope.components, *scope.defects, *scope.classes, *scope.depots, *scope.locomotives)
    return ", ".join(names)


def _lay_defects(ground: Ground) -> None:
    """Make `asked_defect`: the defects that the components in scope can show."""
    rows = pd.DataFrame(ground.catalogue.tables()["component_defect"])
    kept = rows["component"].isin(ground.components)
    if ground.scope.defects:
        kept &= rows["defect"].isin(ground.scope.defects)
    ground.keep("asked_defect", rows[kept])


def _places(by: Sequence[str]) -> str:
    if "position" in by:
        return (
            "SELECT class, component, unnest(range(1, positions + 1))::INTEGER AS position,"
            " 1 AS places FROM asked_place"
        )
    return "SELECT class, component, positions AS places FROM asked_place"


def _kinds(by: Sequence[str]) -> str:
    """Which kinds get a row: defects of the catalogue, actions as far as they were seen."""
    words = [word for word in ("component", "defect", "action") if word in by]
    kinds = [word for word in KIND_WORDS if word in by]
    if not kinds:
        return "SELECT 1 AS one"
    seen = f"SELECT DISTINCT {', '.join(words)} FROM asked_episode"
    if "action" in by:
        return seen
    return f"{seen} UNION SELECT {', '.join(words)} FROM asked_defect"


def _kind_join(by: Sequence[str]) -> str:
    joined = any(word in by for word in KIND_WORDS) and "component" in by
    return "JOIN kind USING (component)" if joined else "CROSS JOIN kind"
