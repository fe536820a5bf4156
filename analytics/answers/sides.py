"""The two populations of a comparison: before and after a cut, or two classes or depots."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import combinations

import pandas as pd

from analytics.answer import Message, say
from analytics.answers.ground import Ground, lay_failures, lay_ground, text_of
from analytics.answers.look_back import read_days
from analytics.errors import ScopeError, unknown_name
from analytics.history import clock_at
from analytics.scope import Scope
from analytics.store import Reader
from analytics.store.current import current_sql

BETWEEN = ("class", "depot")
MOST_IN_PAIRS = 4
"""With more classes or depots than this each is compared with all others together."""
LONGEST_DAYS = 36_525


@dataclass(frozen=True, slots=True)
class Sides:
    """Which populations there are.

    `word` is the group word whose values tell them apart, laid out in `asked_exposure` and
    `asked_episode`; `month` holds the side of a cut, "0" or "1". `labels` names those of a cut.
    `own_dates` tells that each locomotive was cut at its own date; `without` counts those left out
    because they were never changed.
    """

    word: str
    labels: tuple[str, str] = ("", "")
    without: int = 0
    own_dates: bool = False

    def pairs(self, names: Sequence[str]) -> list[tuple[str, str | None, str]]:
        """Return (label of the first, its name or None for all others, name of the second)."""
        if self.word == "month":
            return [(self.labels[0], "0", "1")]
        known = sorted((name for name in names if name), key=_in_order)
        if len(known) <= MOST_IN_PAIRS:
            return [(first, first, second) for first, second in combinations(known, 2)]
        others = say(Message("compare.others"))
        return [(others, None, name) for name in known]

    def label(self, name: str) -> str:
        """Name the second population."""
        return self.labels[1] if self.word == "month" else name


@dataclass(frozen=True, slots=True)
class Asked:
    """How the populations are told apart, as asked: exactly one is given."""

    at: str | datetime | None = None
    span: str | None = None
    between: str | None = None
    modification: str | None = None

    def __post_init__(self) -> None:
        """Refuse none and several.

        Raises
        ------
        ScopeError
            Unless exactly one way is named.
        """
        given = [name for name in self.__slots__ if getattr(self, name) is not None]
        if len(given) != 1:
            told = f"but {' and '.join(given)} are given" if given else "but none is given"
            raise ScopeError(f"compare takes one of at, span, between or modification, {told}.")
        if self.between is not None and self.between not in BETWEEN:
            raise ScopeError(
                f"between must be one of {', '.join(BETWEEN)}, but is {self.between!r}."
            )


def _in_order(name: str) -> tuple[bool, int, str]:
    """Order numbers by their size, names by their letters."""
    return name.isdigit(), len(name) if name.isdigit() else 0, name


def lay_sides(reader: Reader, scope: Scope, asked: Asked) -> tuple[Ground, Sides]:
    """Lay out exposure and failures of both populations.

    Raises
    ------
    ScopeError
        For a name, a date or a span that cannot be used.
    """
    if asked.between is not None:
        ground = _laid(reader, scope)
        return ground, Sides(asked.between)
    if asked.span is not None:
        return _lay_span(reader, scope, asked.span)
    if asked.at is not None:
        moment = Scope.of(since=asked.at).since
        ground = _laid(reader, scope)
        _cut(ground, _at_one_instant(ground, moment))
        labels = (Message("compare.before", at=moment), Message("compare.after", at=moment))
        return ground, Sides("month", (say(labels[0]), say(labels[1])))
    return _lay_modification(reader, scope, str(asked.modification))


def _laid(reader: Reader, scope: Scope) -> Ground:
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    return ground


def _lay_span(reader: Reader, scope: Scope, written: str) -> tuple[Ground, Sides]:
    length = timedelta(days=read_days(written, "a span", most=LONGEST_DAYS, whole=True))
    if scope.since is not None:
        raise ScopeError("a span sets its own begin; leave since out, or ask with at.")
    known = lay_ground(reader, scope).data_cut
    if known is None:
        ground = _laid(reader, scope)
        _cut(ground, _at_one_instant(ground, None))
        return ground, Sides("month")
    middle = known - length
    ground = _laid(reader, replace(scope, since=middle - length))
    _cut(ground, _at_one_instant(ground, middle))
    labels = [
        say(Message("compare.span", days=length.days, to=end.date())) for end in (middle, known)
    ]
    return ground, Sides("month", (labels[0], labels[1]))


def _lay_modification(reader: Reader, scope: Scope, name: str) -> tuple[Ground, Sides]:
    ground = _laid(reader, scope)
    rows = ground.rows(
        'SELECT name, locomotive, min(done_at) AS "at" FROM'
        f" ({current_sql('modifications')}) GROUP BY ALL ORDER BY ALL"
    )
    if name not in set(rows["name"]):
        raise ScopeError(unknown_name("modification", name, set(rows["name"])))
    mine = set(ground.rows("SELECT DISTINCT locomotive FROM asked_exposure")["locomotive"])
    changed = rows[(rows["name"] == name) & rows["locomotive"].isin(mine)]
    _cut(ground, changed[["locomotive", "at"]].reset_index(drop=True))
    labels = (
        say(Message("compare.unmodified", name=name)),
        say(Message("compare.modified", name=name)),
    )
    return ground, Sides("month", labels, len(mine) - len(changed), own_dates=True)


def _at_one_instant(ground: Ground, moment: datetime | None) -> pd.DataFrame:
    names = ground.rows("SELECT DISTINCT locomotive FROM asked_exposure")["locomotive"]
    return pd.DataFrame({"locomotive": names, "at": pd.Series(moment, names.index)})


def _cut(ground: Ground, cut: pd.DataFrame) -> None:
    """Keep exposure and failures of the locomotives cut, each with its side in `month`."""
    cut["at"] = cut["at"].astype("datetime64[us]")
    cut["tick"] = cut["at"].astype("int64")
    if ground.clock != "days" and len(cut):
        known = clock_at(ground.reader.cursor, cut[["locomotive", "at"]])
        cut = known[["locomotive", "at", ground.clock]]
    cut = cut.set_axis(["locomotive", "moment", "tick"], axis=1)
    cut["tick"] = cut["tick"].astype("Int64")
    ground.keep("asked_cut", cut)
    ground.make("asked_side", text_of("side.sql"))
    ground.make("asked_exposure", "FROM asked_side")
    ground.make(
        "asked_side",
        "SELECT e.* REPLACE (CASE WHEN found_at < moment THEN '0' ELSE '1' END AS month)"
        " FROM asked_episode AS e JOIN asked_cut USING (locomotive)",
    )
    ground.make("asked_episode", "FROM asked_side")
