"""Whether groups of lives differ: tests of their survival, and by how much they do."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.clocks import chance, whole
from analytics.answers.ground import Ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label
from analytics.answers.life_marks import with_marks
from analytics.answers.sides import Sides
from analytics.answers.survival import ALLOWED, life_basis, life_notes, read_ground
from analytics.errors import ScopeError
from analytics.estimate.clustered_score import clustered_score_test
from analytics.estimate.logrank import TestResult, log_rank
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.risk_sets import check_pieces
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "model", "group", "against", "ratio", "ratio_lower", "ratio_upper", "statistic", "df",
    "p", "note",
)  # fmt: skip
WORDS = ("class", "depot", "locomotive", "position", "action")
LOG_RANK, SCORE, COX, AFT = "log-rank", "clustered score", "cox", "weibull aft"
FEWEST_FAILURES = 3
MOST_MODELLED = 12
"""With more pairs than this the models, which take half a second a pair, are left out."""

STANDS_OUT_Q = 0.10
NOT_PROPORTIONAL_P = 0.05


def differ(reader: Reader, scope: Scope, word: str, *, by: Sequence[str] = ()) -> Answer:
    """Test whether groups of lives differ, and estimate by how much.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    word
        What tells the groups apart: class, depot (at the end of the life), locomotive, position, or
        action (that began the life).
    by
        Group words of the rows, other than `word`.

    Returns
    -------
    Answer
        Rows per pair of groups (above four groups, each against all others), and for all together
        where there are more than two: the log-rank test; the same score with a variance by
        locomotive; the Cox hazard ratio and the Weibull ratio of lives, group over against, with
        bounds by locomotive.

    Conventions
    -----------
    Failures are taken as when they were found. The note of a Cox row tells whether its ratio is the
    same at all ages. One locomotive cannot be told from chance by locomotive: by locomotive there
    is the log-rank alone.

    Raises
    ------
    ScopeError
        For a word whose groups cannot be told apart, or that is also in `by`.
    """
    check_groups([word], "survival differ", allowed=WORDS)
    check_groups(by, "survival", allowed=ALLOWED)
    if word in by:
        raise ScopeError(f"differ tells groups of {word!r} apart; leave it out of by.")
    ground, lives = read_ground(reader, scope)
    frame = with_marks(lives.frame, ground) if word == "action" else lives.frame
    frame = frame.assign(told=frame[word].astype(str))
    parts = [(key, part[part["told"] != ""]) for key, part, _ in each_group(frame, by)]
    pairs = sum(len(_pairs(part)) for _, part in parts)
    modelled = word != "locomotive" and pairs <= MOST_MODELLED
    found = [
        replace(row, key=key)
        for key, part in parts
        for row in _compared(part, scope.level, clustered=word != "locomotive", modelled=modelled)
    ]
    table = finished([row.cells(by, ground.clock) for row in found], (*by, *COLUMNS))
    table["df"] = table["df"].astype("Int64")
    notes = _notes(found, word, left_out=word != "locomotive" and not modelled)
    notes += life_notes(lives, ground, by, exactly=True)
    basis = life_basis(ground, lives, ", ".join(dict.fromkeys(row.model for row in found)))
    return Answer("survival", table, basis, _reading(found, ground, by), tuple(notes))


@dataclass(frozen=True, slots=True)
class Row:
    """One test or model of one pair, or of all groups together (`pair` False)."""

    model: str
    group: str
    against: str
    pair: bool
    ratio: tuple[float, float, float] = (math.nan, math.nan, math.nan)
    statistic: float = math.nan
    df: int = 0
    p: float = math.nan
    proportional_p: float = math.nan
    note: str = ""
    key: Key = ()

    def cells(self, by: Sequence[str], clock: str) -> dict[str, object]:
        """Return the row of the table."""
        told = [say(Message(self.note))] if self.note else []
        if not math.isnan(self.proportional_p):
            clear = self.proportional_p < NOT_PROPORTIONAL_P
            key = "differ.not_proportional" if clear else "differ.proportional"
            told.append(say(Message(key, p=chance(self.proportional_p))))
        return {
            **dict(zip(by, self.key, strict=True)),
            "clock": clock,
            "model": self.model,
            "group": self.group,
            "against": self.against,
            **dict(zip(("ratio", "ratio_lower", "ratio_upper"), self.ratio, strict=True)),
            "statistic": self.statistic,
            "df": self.df or None,
            "p": self.p,
            "note": "; ".join(told),
        }


def _pairs(part: pd.DataFrame) -> list[tuple[str, str | None, str]]:
    """Return (name of against, None for all others, name of the group) of each pair."""
    return Sides("told").pairs(list(part["told"].unique()))


def _compared(
    part: pd.DataFrame, level: float, *, clustered: bool, modelled: bool
) -> Iterator[Row]:
    names = sorted(part["told"].unique())
    if len(names) < 2:
        yield Row(LOG_RANK, names[0] if names else "", "", pair=True, note="differ.one_group")
        return
    if len(names) > 2:
        every = say(Message("differ.every")), say(Message("differ.each_other"))
        yield from _tested(part, every, clustered=clustered, pair=False)
    for against, first, group in _pairs(part):
        rows = part if first is None else part[part["told"].isin([first, group])]
        two = rows.assign(told=np.where(rows["told"] == group, group, against))
        yield from _tested(two, (group, against), clustered=clustered, pair=True)
        if modelled:
            yield from _modelled(two, group, against, level)


def _tested(
    part: pd.DataFrame, names: tuple[str, str], *, clustered: bool, pair: bool
) -> Iterator[Row]:
    lives = part["entry"], part["exit"], part["failed"], part["told"]
    tests = [(LOG_RANK, log_rank(*lives))]
    if clustered:
        tests.append((SCORE, clustered_score_test(*lives, part["locomotive"])))
    for model, test in tests:
        yield _test_row(model, names, test, pair=pair)


def _test_row(model: str, names: tuple[str, str], test: TestResult, *, pair: bool) -> Row:
    if test.observed.sum() < FEWEST_FAILURES:
        return Row(model, *names, pair=pair, note="differ.too_few")
    return Row(model, *names, pair=pair, statistic=test.chi2, df=test.df, p=test.p, note=test.note)


def _modelled(part: pd.DataFrame, group: str, against: str, level: float) -> Iterator[Row]:
    from analytics.estimate.group_ratio import group_ratio  # its library takes over a second

    pieces = check_pieces(part["entry"], part["exit"], part["failed"])
    inside = part["told"].to_numpy() == group
    for model in (COX, AFT):
        fit = group_ratio(pieces, inside, part["locomotive"], model, level=level)
        yield Row(
            model,
            group,
            against,
            pair=True,
            ratio=(fit.ratio, fit.lower, fit.upper),
            statistic=fit.statistic,
            df=0 if math.isnan(fit.p) else 1,
            p=fit.p,
            proportional_p=fit.proportional_p,
            note=fit.note,
        )


def _notes(found: list[Row], word: str, *, left_out: bool) -> list[Message]:
    notes = []
    if word == "locomotive":
        notes.append(Message("differ.by_locomotive"))
    elif any(row.model == SCORE for row in found):
        notes.append(Message("differ.go_by_score"))
    if word == "action":
        notes.append(Message("differ.went_with"))
    if any(row.proportional_p < NOT_PROPORTIONAL_P for row in found):
        notes.append(Message("differ.ratio_changes"))
    tested = [row for row in _judged(found) if row.pair]
    if len(tested) > 1:
        notes.append(Message("differ.chance", rows=len(tested)))
    if left_out:
        notes.append(Message("differ.models_left_out", pairs=MOST_MODELLED))
    return notes


def _judged(found: list[Row]) -> list[Row]:
    """Return the rows that a verdict goes by: the score test by locomotive where there is one."""
    scored = [row for row in found if row.model == SCORE and not math.isnan(row.p)]
    return scored or [row for row in found if row.model == LOG_RANK and not math.isnan(row.p)]


def _reading(found: list[Row], ground: Ground, by: Sequence[str]) -> Message:
    tested = [row for row in _judged(found) if row.pair]
    if not tested:
        return Message("differ.nothing")
    q = benjamini_hochberg(np.array([row.p for row in tested]))
    best = int(np.argmin([row.p for row in tested]))
    row, clear = tested[best], int((q <= STANDS_OUT_Q).sum())
    if not clear:
        return Message("differ.none", rows=len(tested), p=chance(row.p))
    cox = next(
        (one for one in found if one.model == COX and _same(one, row) and one.ratio[0] > 0), None
    )
    subject = label(by, row.key, ground) if by else ""
    values = {
        "subject": f"{subject}: " if subject else "",
        "group": row.group,
        "against": row.against,
        "p": chance(row.p),
        "rows": len(tested),
        "clear": clear,
    }
    if cox is None:
        return Message("differ.clear", **values)
    ratio, lower, upper = cox.ratio
    percent = whole(100 * ground.scope.level)
    return Message(
        "differ.clear_ratio", ratio=ratio, lower=lower, upper=upper, percent=percent, **values
    )


def _same(one: Row, other: Row) -> bool:
    return (one.key, one.group, one.against) == (other.key, other.group, other.against)
