"""How failures add up over the time in service: the mean cumulative function."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.answer import Answer, Message
from analytics.answers.basis import exposure_notes, make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, cells, check_groups, curve_table, label, left_out
from analytics.answers.windows import Case, cases
from analytics.errors import ScopeError
from analytics.estimate.recurrent import ONE_CLUSTER, CumulativeCurve, mean_cumulative
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = ("clock", "age", "mcf", "lower", "upper", "at_risk", "events")
ALLOWED = tuple(word for word in GROUPS if word != "month")
UNITS = ("locomotive", "position")
ENOUGH_AT_RISK = 5
"""The reading goes no further than the last age at which so many are watched."""


def mcf(
    reader: Reader, scope: Scope, *, by: Sequence[str] = (), unit: str = "locomotive"
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
    notes = exposure_notes(ground, by)
    alone = sum(group.curve.note == ONE_CLUSTER for group in found)
    if alone:
        notes.append(Message("mcf.one_cluster", curves=alone))
    unknown = set().union(*(group.unknown for group in found))
    if unknown:
        notes.insert(0, Message("mcf.unknown_entry", locomotives=len(unknown)))
    curves = [(group.key, group.curve) for group in found]
    table = curve_table(curves, (*by, *COLUMNS), clock=ground.clock)
    return Answer("mcf", table, basis, _reading(found, ground, by, unit=unit), tuple(notes))


_READINGS = {
    "locomotive": ("mcf.one_locomotive", "mcf.most_locomotive"),
    "position": ("mcf.one_position", "mcf.most_position"),
}


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    curve: CumulativeCurve
    unknown: frozenset[int]  # locomotives without a known age
    ageless: int  # their failures
    outside: int  # failures outside every window


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


def _reading(found: list[_Group], ground: Ground, by: Sequence[str], *, unit: str) -> Message:
    """Say how many failures there are, on average, by the last age that enough have reached."""
    some = [group for group in found if group.curve.events.any()]
    if not some:
        return Message("mcf.nothing")
    most = max(some, key=lambda group: group.curve.mcf[_last_row(group.curve)])
    row = _last_row(most.curve)
    return on_clock(
        _READINGS[unit][len(found) > 1],
        ground.clock,
        subject=label(by, most.key, ground),
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
