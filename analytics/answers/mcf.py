"""How failures add up over the time in service: the mean cumulative function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.answer import Answer, Message
from analytics.answers.basis import NOT_IN_USE, exposure_notes, in_use, make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, cells, check_groups, curve_table, label, left_out
from analytics.answers.windows import Case, cases
from analytics.errors import ScopeError
from analytics.estimate.recurrent import (
    FEW_WATCHED,
    ONE_CLUSTER,
    CumulativeCurve,
    mean_cumulative,
)
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = ("clock", "age", "mcf", "lower", "upper", "at_risk", "events")
ALLOWED = tuple(word for word in GROUPS if word != "month")
UNITS = ("locomotive", "position")
ENOUGH_AT_RISK = 5
"""The reading goes no further than the last age at which so many are watched."""

LATE_START = 0.01
"""A curve that starts above this share of the age it reaches is said to start late."""


def mcf(
    reader: Reader,
    scope: Scope,
    *,
    by: Sequence[str] = (),
    unit: str = "locomotive",
    differ: str | None = None,
) -> Answer:
    """Estimate the mean number of failures of one locomotive, or one position, by age in service.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words, any but month; none gives one curve.
    unit
        `locomotive` adds up the positions of each locomotive; `position` takes each by itself, and
        leaves out failures whose position is not stated.
    differ
        A word whose groups are set against each other: see `analytics.answers.mcf_differ`.

    Returns
    -------
    Answer
        Rows per group: age 0, then each distinct age with a failure.

    Conventions
    -----------
    Age is the clock since entry into service; renewals do not reset it. Locomotives whose clock is
    not known there are left out, and counted. At risk at age a: entry < a <= exit. Bounds are
    robust to bunched failures of one locomotive (`analytics.estimate.recurrent`).
    """
    check_groups(by, "mcf", allowed=ALLOWED)
    if unit not in UNITS:
        raise ScopeError(f"unit must be one of {', '.join(UNITS)}, but is {unit!r}.")
    if differ is not None:
        from analytics.answers.mcf_differ import mcf_differ

        return mcf_differ(reader, scope, differ, by=by, unit=unit)
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    by_position = unit == "position" or "position" in by
    found = [
        _curve(case, ground, by_position=by_position)
        for case in cases(ground, by, stated=by_position)
    ]
    basis = make_basis(
        ground,
        "Nelson, variance by locomotive",
        events=sum(int(group.curve.events.sum()) for group in found),
        exposure=float(cells(ground, ())["exposure"].sum()),
        left_out=_left_out(found, ground, by_position=by_position),
    )
    notes = exposure_notes(ground, by, pooled="basis.added_components")
    notes = [*_watch_notes(found, ground.clock), *notes]
    unknown = set().union(*(group.unknown for group in found))
    if unknown:
        notes.insert(0, Message("mcf.unknown_entry", locomotives=len(unknown)))
    curves = [(group.key, group.curve) for group in found]
    table = curve_table(curves, (*by, *COLUMNS), clock=ground.clock)
    return Answer("mcf", table, basis, _reading(found, ground, by, unit=unit), tuple(notes))


# By unit, and whether one locomotive alone makes the curve: of one curve, of several.
_READINGS = {
    ("locomotive", False): ("mcf.one_locomotive", "mcf.most_locomotive"),
    ("position", False): ("mcf.one_position", "mcf.most_position"),
    ("locomotive", True): ("mcf.alone_locomotive", "mcf.most_alone_locomotive"),
    ("position", True): ("mcf.alone_position", "mcf.most_alone_position"),
}


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    curve: CumulativeCurve
    unknown: frozenset[int]  # locomotives without a known age
    ageless: int  # their failures
    outside: int  # failures outside every window

    @property
    def alone(self) -> bool:
        """Whether one locomotive alone makes the curve, so that it has no bounds."""
        return self.curve.note == ONE_CLUSTER

    @property
    def starts_late(self) -> bool:
        """Whether nobody was watched over the first ages, so that the curve lacks them."""
        return self.curve.observed_from > LATE_START * self.curve.observed_until

    @property
    def thin(self) -> bool:
        """Whether some of its steps, not all by one locomotive, rest on very few locomotives."""
        few = (self.curve.watched < FEW_WATCHED) & (self.curve.events > 0)
        return not self.alone and bool(few.any())


def _curve(case: Case, ground: Ground, *, by_position: bool) -> _Group:
    seen = case.windows.with_ages()
    units, window_unit = np.unique(seen.unit, return_inverse=True)
    places = np.ones(units.size)
    places[window_unit] = seen.places
    curve = mean_cumulative(
        seen.failure_age,
        window_unit[seen.failure_window],
        seen.entry_age,
        seen.exit_age,
        window_unit,
        level=ground.scope.level,
        multiplicity=places if by_position else None,
    )
    unknown = np.setdiff1d(case.windows.unit, units)
    ageless = int(np.isin(case.failed_unit, unknown).sum())
    outside = case.failed_unit.size - ageless - int(curve.events.sum())
    return _Group(case.key, curve, frozenset(unknown.tolist()), ageless, outside)


def _left_out(found: list[_Group], ground: Ground, *, by_position: bool) -> dict[str, int]:
    counts = left_out(ground, without_position=by_position)
    unknown = sum(group.ageless for group in found)
    outside = sum(group.outside for group in found)
    counts["unknown_start"] = unknown
    counts["out_of_window"] = counts.get("out_of_window", 0) + outside
    return {reason: count for reason, count in counts.items() if count}


def _watch_notes(found: list[_Group], clock: str) -> list[Message]:
    """Say where the curves count from, and where they rest on few."""
    notes = []
    late = [group.curve.observed_from for group in found if group.starts_late]
    if late and len(found) == 1:
        notes.append(on_clock("mcf.one_starts_late", clock, start=late[0]))
    elif late:
        counts = {"curves": len(late), "all": len(found), "start": max(late)}
        notes.append(on_clock("mcf.starts_late", clock, **counts))
    thin = sum(group.thin for group in found)
    if thin and len(found) == 1:
        notes.append(Message("mcf.one_few_watched"))
    elif thin:
        notes.append(Message("mcf.few_watched", curves=thin, all=len(found)))
    alone = sum(group.alone for group in found)
    if alone and len(found) > 1:
        notes.append(Message("mcf.one_cluster", curves=alone, all=len(found)))
    return notes


def _reading(found: list[_Group], ground: Ground, by: Sequence[str], *, unit: str) -> Message:
    """Say how many failures there are, on average, by the last age that enough have reached."""
    some = [group for group in found if group.curve.events.any()]
    if not some:
        return Message("mcf.nothing" if in_use(ground) else NOT_IN_USE)
    most = max(some, key=lambda group: group.curve.mcf[_last_row(group.curve)])
    row = _last_row(most.curve)
    return on_clock(
        _READINGS[unit, most.alone][len(found) > 1],
        ground.clock,
        subject=label(by, most.key, ground),
        start=float(most.curve.observed_from) if most.starts_late else 0.0,
        age=float(most.curve.age[row]),
        mcf=float(most.curve.mcf[row]),
        lower=float(most.curve.lower[row]),
        upper=float(most.curve.upper[row]),
        percent=whole(100 * ground.scope.level),
        at_risk=int(most.curve.at_risk[row]),
    )


def _last_row(curve: CumulativeCurve) -> int:
    """Return the row of the last age at which enough are still watched, else the last row."""
    enough = np.flatnonzero(curve.at_risk >= ENOUGH_AT_RISK)
    return int(enough[-1]) if enough.size else curve.age.size - 1
