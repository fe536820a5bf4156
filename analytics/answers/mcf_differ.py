"""How much faster failures add up in one group than in another: the difference of two curves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import NOT_IN_USE, exposure_notes, in_use, make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, cells, check_groups, finished, label, left_out
from analytics.answers.sides import Sides
from analytics.answers.windows import Case, cases
from analytics.errors import ScopeError
from analytics.estimate.cumulative_contrast import (
    CumulativeContrast,
    Recurrent,
    mean_cumulative_contrast,
)
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "group", "against", "clock", "age", "difference", "lower", "upper", "at_risk",
    "at_risk_against",
)  # fmt: skip
WORDS = ("class", "depot", "component", "position")
ENOUGH_AT_RISK = 5
"""The reading goes no further than the last age at which so many of both are watched."""


def mcf_differ(
    reader: Reader, scope: Scope, word: str, *, by: Sequence[str] = (), unit: str = "locomotive"
) -> Answer:
    """Estimate by age in service how many more failures one group has had than another.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    word
        What tells the groups apart: class, depot, component, position.
    by
        Group words, other than `word` and month.
    unit
        `locomotive` or `position`, as in `analytics.answers.mcf`.

    Returns
    -------
    Answer
        Rows per pair of groups (above four groups, each against all others): each age from which
        both are watched and at which a curve rises.

    Conventions
    -----------
    Ages and curves as in `mcf`; the difference counts from the first age at which both are watched.
    All others together are the average of one: of a locomotive's component where components are
    told apart. Bounds are by locomotive, also where both sides have the same
    (`analytics.estimate.cumulative_contrast`).

    Raises
    ------
    ScopeError
        For a word whose groups cannot be told apart, or that is also in `by`.
    """
    check_groups([word], "mcf differ", allowed=WORDS)
    check_groups(by, "mcf", allowed=[one for one in GROUPS if one != "month"])
    if word in by:
        raise ScopeError(f"differ tells groups of {word!r} apart; leave it out of by.")
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    placed = unit == "position" or "position" in (*by, word)
    found = list(_contrasts(ground, by, word, placed=placed))
    rows = [_rows(pair, ground, by) for pair in found]
    table = finished(pd.concat(rows, ignore_index=True) if rows else [], (*by, *COLUMNS))
    basis = make_basis(
        ground,
        "Nelson, variance of the difference by locomotive",
        events=sum({(p.key, p.group): p.curve.events for p in found}.values()),
        exposure=float(cells(ground, ())["exposure"].sum()),
        left_out=left_out(ground, without_position=placed),
    )
    notes = [
        *_notes(found),
        *(_positions_differ(ground) if word == "class" and not placed else ()),
        *exposure_notes(ground, by, pooled="basis.added_components"),
    ]
    return Answer("mcf", table, basis, _reading(found, ground, by), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Pair:
    key: Key
    group: str
    against: str
    curve: CumulativeContrast

    @property
    def last(self) -> int:
        """The row of the last age at which enough of both are watched, else the last."""
        fewest = np.minimum(self.curve.at_risk, self.curve.at_risk_against)
        enough = np.flatnonzero(fewest >= ENOUGH_AT_RISK)
        return int(enough[-1]) if enough.size else self.curve.age.size - 1

    @property
    def told_apart(self) -> bool:
        """Whether the bounds at that age leave 0 out."""
        row = self.last
        return bool(self.curve.lower[row] > 0 or self.curve.upper[row] < 0)

    @property
    def strength(self) -> float:
        """How many half widths of its bounds the difference is away from 0."""
        row = self.last
        half = (self.curve.upper[row] - self.curve.lower[row]) / 2
        return float(abs(self.curve.difference[row]) / half) if half > 0 else 0.0


def _contrasts(ground: Ground, by: Sequence[str], word: str, *, placed: bool) -> Iterator[_Pair]:
    groups: dict[Key, dict[str, Case]] = {}
    for case in cases(ground, (*by, word), stated=placed):
        if np.isfinite(case.windows.entry_age).any():
            groups.setdefault(case.key[:-1], {})[str(case.key[-1])] = case
    for key, named in groups.items():
        for against, first, group in Sides("told").pairs(list(named)):
            other = [one for name, one in named.items() if name not in ("", group)]
            sides = [named[group]], (other if first is None else [named[first]])
            one, two = (_side(side, placed=placed) for side in sides)
            curve = mean_cumulative_contrast(one, two, level=ground.scope.level)
            if curve.age.size and curve.events + curve.events_against:
                yield _Pair(key, group, against, curve)


def _side(side: list[Case], *, placed: bool) -> Recurrent:
    """Put cases together: a locomotive in each is a unit of its own."""
    seen = [case.windows.with_ages() for case in side]
    unit = np.concatenate([one.unit for one in seen])
    which = np.repeat(np.arange(len(seen)), [one.unit.size for one in seen])
    pairs, window_unit = np.unique(np.stack([which, unit]), axis=1, return_inverse=True)
    window_unit = np.asarray(window_unit, dtype=np.int64).ravel()
    begin = np.cumsum([0, *(one.unit.size for one in seen)])
    window = np.concatenate([one.failure_window + begin[at] for at, one in enumerate(seen)])
    places = np.ones(pairs.shape[1])
    places[window_unit] = np.concatenate([one.places for one in seen])
    return Recurrent(
        event_age=np.concatenate([one.failure_age for one in seen]),
        event_unit=window_unit[window],
        entry=np.concatenate([one.entry_age for one in seen]),
        exit=np.concatenate([one.exit_age for one in seen]),
        window_unit=window_unit,
        cluster=pairs[1],
        multiplicity=places if placed else np.ones(places.size),
    )


def _rows(pair: _Pair, ground: Ground, by: Sequence[str]) -> pd.DataFrame:
    names = [name for name in COLUMNS if name not in ("group", "against", "clock")]
    frame = pd.DataFrame({name: getattr(pair.curve, name) for name in names})
    return frame.assign(
        group=pair.group,
        against=pair.against,
        clock=ground.clock,
        **dict(zip(by, pair.key, strict=True)),
    )


def _positions_differ(ground: Ground) -> tuple[Message, ...]:
    """Say so where the classes have unlike numbers of positions, which a locomotive adds up."""
    counts = ground.rows(
        "SELECT class, sum(positions)::BIGINT AS positions FROM asked_place"
        " SEMI JOIN asked_record USING (class) GROUP BY class ORDER BY class"
    )
    if counts["positions"].nunique() < 2:
        return ()
    told = tuple(f"{c} {n}" for c, n in zip(counts["class"], counts["positions"], strict=True))
    return (Message("mcf.positions_differ", counts=told),)


def _notes(found: list[_Pair]) -> list[Message]:
    notes = [Message("mcf.pointwise")] if found else []
    alone = sum(bool(pair.curve.note) for pair in found)
    if alone:
        notes.append(Message("mcf.differ_alone", pairs=alone, all=len(found)))
    return notes


def _reading(found: list[_Pair], ground: Ground, by: Sequence[str]) -> Message:
    bounded = [pair for pair in found if not pair.curve.note]
    if not bounded:
        key = "mcf.differ_no_bounds" if found else "mcf.differ_nothing"
        return Message(key if in_use(ground) else NOT_IN_USE)
    pair = max(bounded, key=lambda one: one.strength)
    row, curve = pair.last, pair.curve
    subject = label(by, pair.key, ground) if by else ""
    return on_clock(
        "mcf.differ_clear" if pair.told_apart else "mcf.differ_unclear",
        ground.clock,
        subject=f"{subject}: " if subject else "",
        group=pair.group,
        against=pair.against,
        start=float(curve.age[0]),
        age=float(curve.age[row]),
        difference=float(curve.difference[row]),
        lower=float(curve.lower[row]),
        upper=float(curve.upper[row]),
        percent=whole(100 * ground.scope.level),
        clear=sum(one.told_apart for one in bounded),
        rows=len(bounded),
    )
