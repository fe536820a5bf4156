"""The share of lives that each kind of defect has ended by each age, while others take theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label
from analytics.answers.life_marks import with_marks
from analytics.answers.lives import count_lives
from analytics.answers.survival import ALLOWED, NO_FAILURES, life_basis, life_notes, read_ground
from analytics.estimate.competing import IncidenceCurves, cumulative_incidence
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "defect", "clock", "age", "incidence", "lower", "upper", "at_risk", "events", "note",
)  # fmt: skip
FEW = 3
"""With fewer failures of a kind its row says so."""


def incidence(reader: Reader, scope: Scope, *, by: Sequence[str] = ()) -> Answer:
    """Estimate by age the share of lives that each kind of defect has ended.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Defects named keep their rows; all kinds still compete.
    by
        Group words: component, class, depot (at the end of the life), locomotive, position.

    Returns
    -------
    Answer
        Rows per group and defect that ended a life: the age from which the curve is drawn, then
        each age with a failure of that kind.

    Conventions
    -----------
    Aalen-Johansen: the shares of all kinds and of those still going add up to 1. A failure is taken
    as when it was found. Lives are those of `survival`. Bounds take lives as independent.
    """
    check_groups(by, "survival", allowed=ALLOWED)
    asked = lay_ground(reader, scope).scope  # names are checked, defects too
    ground, lives = read_ground(reader, replace(asked, defects=()))
    found = [
        _Group(key, part, _curves(part, scope.level))
        for key, part, _ in each_group(with_marks(lives.frame, ground), by)
        if len(part)
    ]
    rows = [
        _rows(group, at, by)
        for group in found
        for at, kind in enumerate(group.curves.kinds)
        if not asked.defects or kind in asked.defects
    ]
    table = finished(pd.concat(rows, ignore_index=True) if rows else [], (*by, *COLUMNS))
    table["clock"] = ground.clock
    notes = [*_notes(found), *life_notes(lives, ground, by, exactly=True)]
    told = replace(ground, scope=asked)
    basis = life_basis(told, lives, "aalen-johansen")
    return Answer("survival", table, basis, _reading(found, told, by), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    lives: pd.DataFrame
    curves: IncidenceCurves


def _curves(part: pd.DataFrame, level: float) -> IncidenceCurves:
    return cumulative_incidence(
        part["entry"], part["exit"], part["defect"].astype(str), level=level
    )


def _rows(group: _Group, at: int, by: Sequence[str]) -> pd.DataFrame:
    curves = group.curves
    kept = curves.events[:, at] > 0
    kept[0] = True
    few = curves.events[:, at].sum() < FEW
    frame = pd.DataFrame(
        {
            "age": curves.age[kept],
            "at_risk": curves.at_risk[kept],
            **{
                name: getattr(curves, name)[kept, at]
                for name in ("incidence", "lower", "upper", "events")
            },
        }
    )
    return frame.assign(
        defect=curves.kinds[at],
        note=say(Message("incidence.few")) if few else "",
        **dict(zip(by, group.key, strict=True)),
    )


def _notes(found: list[_Group]) -> list[Message]:
    remarks = dict.fromkeys(group.curves.note for group in found)
    notes = [Message(key) for key in remarks if key and key != NO_FAILURES]
    if any(group.curves.kinds for group in found):
        notes.append(Message("incidence.independent"))
    return notes


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    """Say which kind has ended most lives by the last age drawn."""
    named = ground.scope.defects
    shares = [
        (float(group.curves.incidence[-1, at]), at, group)
        for group in found
        for at, kind in enumerate(group.curves.kinds)
        if not named or kind in named
    ]
    if not shares:
        lives = sum(count_lives(group.lives) for group in found)
        return Message("survival.nothing_failed" if lives else "survival.nothing", lives=lives)
    share, at, group = max(shares, key=lambda one: one[0])
    curves = group.curves
    return on_clock(
        "incidence.most" if len(found) == 1 else "incidence.most_of",
        ground.clock,
        subject=label(by, group.key, ground) if by else "",
        defect=curves.kinds[at],
        age=float(curves.age[-1]),
        share=100 * share,
        lower=100 * float(curves.lower[-1, at]),
        upper=100 * float(curves.upper[-1, at]),
        percent=whole(100 * ground.scope.level),
        any=100 * float(np.nansum(curves.incidence[-1])),
        groups=len(found),
    )
