"""Whether a fix holds better in one group than in another: recurrence rates set side by side."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import chance, on_clock, whole
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label
from analytics.answers.look_back import LookBack
from analytics.answers.recurrence import read_closings
from analytics.answers.sides import Sides
from analytics.errors import ScopeError
from analytics.estimate.clustered_score import clustered_score_test
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.recurrence_difference import RecurrenceDifference, recurrence_difference
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "group", "against", "rate", "rate_against", "difference", "lower", "upper", "statistic", "df",
    "p", "note",
)  # fmt: skip
WORDS = ("action", "depot", "defect", "severity")
FEWEST_REPEATS = 3
STANDS_OUT_Q = 0.10


def recurrence_differ(
    reader: Reader,
    scope: Scope,
    word: str,
    *,
    by: Sequence[str] = (),
    window: str = "30d",
    same_defect: bool = False,
) -> Answer:
    """Set the recurrence rates after closings of different kinds against each other.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Its clock is not used, the window has its own.
    word
        What tells the closings apart: action, depot, defect, severity (of what was closed).
    by
        Group words of the rows, other than `word`.
    window, same_defect
        As in `analytics.answers.recurrence`.

    Returns
    -------
    Answer
        A row per pair of groups (above four groups, each against all others), and one for all
        together where there are more than two: both rates at the window, their difference with
        bounds, and a score test with a variance by locomotive of when it came back up to it.

    Conventions
    -----------
    Closings are those that `recurrence` follows. Crews choose what they do: a rate went with a
    group, it was not caused by it.

    Raises
    ------
    ScopeError
        For a word whose groups cannot be told apart, or that is also in `by`.
    """
    check_groups([word], "recurrence differ", allowed=WORDS)
    check_groups(by, "recurrence", allowed=GROUPS)
    if word in by:
        raise ScopeError(f"differ tells groups of {word!r} apart; leave it out of by.")
    look_back = LookBack.read(window)
    ground = lay_ground(reader, scope)
    closings = read_closings(ground, (*by, word), look_back, same_defect=same_defect)
    usable = closings[closings["usable"]]
    usable = usable.assign(told=usable[word].astype(str))
    usable = usable[usable["told"] != ""]
    found = [
        replace(row, key=key)
        for key, part, _ in each_group(usable, by)
        for row in _compared(part, look_back, scope.level)
    ]
    table = finished([row.cells(by) for row in found], (*by, *COLUMNS))
    table["df"] = table["df"].astype("Int64")
    reasons = closings.loc[closings["reason"] != "", "reason"].value_counts()
    basis = make_basis(
        ground,
        "Kaplan-Meier, score test by locomotive",
        events=int(usable["recurred"].sum()),
        censored=int((~usable["recurred"]).sum()),
        left_out={str(reason): int(count) for reason, count in reasons.items()},
    )
    basis = replace(basis, clock=look_back.clock)
    reading = _reading(found, ground, by, look_back)
    return Answer("recurrence", table, basis, reading, _notes(found, word))


@dataclass(frozen=True, slots=True)
class _Row:
    group: str
    against: str
    two: RecurrenceDifference | None = None
    statistic: float = math.nan
    df: int = 0
    p: float = math.nan
    note: str = ""
    key: Key = ()

    def cells(self, by: Sequence[str]) -> dict[str, object]:
        two = self.two
        return {
            **dict(zip(by, self.key, strict=True)),
            "group": self.group,
            "against": self.against,
            "rate": two.first.rate if two else math.nan,
            "rate_against": two.second.rate if two else math.nan,
            "difference": two.difference if two else math.nan,
            "lower": two.lower if two else math.nan,
            "upper": two.upper if two else math.nan,
            "statistic": self.statistic,
            "df": self.df or None,
            "p": self.p,
            "note": say(Message(self.note)) if self.note else "",
        }


def _compared(part: pd.DataFrame, look_back: LookBack, level: float) -> Iterator[_Row]:
    names = sorted(part["told"].unique())
    if len(names) < 2:
        yield _Row(names[0] if names else "", "", note="differ.one_group")
        return
    if len(names) > 2:
        yield _all_together(part, look_back)
    for against, first, group in Sides("told").pairs(names):
        rows = part if first is None else part[part["told"].isin([first, group])]
        two = recurrence_difference(
            rows["gap"],
            rows["recurred"],
            rows["unit"],
            rows["told"] == group,
            window=look_back.amount,
            level=level,
        )
        repeats = two.first.recurrences + two.second.recurrences
        if repeats < FEWEST_REPEATS:
            yield _Row(group, against, two, note="differ.too_few_back")
        else:
            yield _Row(group, against, two, two.statistic, two.df, two.p, two.note)


def _all_together(part: pd.DataFrame, look_back: LookBack) -> _Row:
    gap = part["gap"].to_numpy(dtype=np.float64)
    back = part["recurred"].to_numpy(dtype=bool) & (gap <= look_back.amount)
    every, other = say(Message("differ.every")), say(Message("differ.each_other"))
    if back.sum() < FEWEST_REPEATS:
        return _Row(every, other, note="differ.too_few_back")
    # Only the order of the gaps counts: 1 is added so that a gap of 0 has a length.
    ends = 1.0 + np.minimum(gap, look_back.amount)
    test = clustered_score_test(np.zeros(gap.size), ends, back, part["told"], part["unit"])
    return _Row(every, other, None, test.chi2, test.df, test.p, test.note)


def _notes(found: list[_Row], word: str) -> tuple[Message, ...]:
    key = "recurrence.went_with" if word == "action" else "differ.went_with"
    notes = [Message(key)]
    tested = sum(row.two is not None and not math.isnan(row.p) for row in found)
    if tested > 1:
        notes.append(Message("differ.chance", rows=tested))
    return tuple(notes)


def _reading(found: list[_Row], ground: Ground, by: Sequence[str], look_back: LookBack) -> Message:
    tested = [row for row in found if row.two is not None and not math.isnan(row.p)]
    if not tested:
        return Message("differ.nothing_back")
    q = benjamini_hochberg(np.array([row.p for row in tested]))
    row, clear = min(tested, key=lambda one: one.p), int((q <= STANDS_OUT_Q).sum())
    if not clear or row.two is None:
        return Message("differ.none_back", rows=len(tested), p=chance(row.p))
    subject = label(by, row.key, ground) if by else ""
    return on_clock(
        "differ.clear_back",
        look_back.clock,
        subject=f"{subject}: " if subject else "",
        group=row.group,
        against=row.against,
        rate=_percent(row.two.first.rate),
        other=_percent(row.two.second.rate),
        lower=_percent(row.two.lower),
        upper=_percent(row.two.upper),
        window=whole(look_back.amount),
        percent=whole(100 * ground.scope.level),
        p=chance(row.p),
        rows=len(tested),
        clear=clear,
    )


def _percent(share: float) -> float:
    return whole(round(100 * share, 1))
