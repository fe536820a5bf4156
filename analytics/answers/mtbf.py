"""How long it runs between failures: mean operating time between failures, rate, bounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analytics.answer import Answer, Message, say
from analytics.answers.basis import NOT_IN_USE, exposure_notes, in_use, make_basis
from analytics.answers.clocks import chance, on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import (
    KIND_WORDS,
    Key,
    cells,
    check_groups,
    count_events,
    finished,
    label,
    left_out,
    ranked,
)
from analytics.answers.windows import Case, cases
from analytics.estimate.rate import RateEstimate, estimate_rate
from analytics.estimate.trend import laplace_test
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "exposure", "failures", "mtbf", "mtbf_lower", "mtbf_upper", "rate", "rate_lower",
    "rate_upper", "level", "method", "dispersion", "constancy_p", "note",
)  # fmt: skip
NOT_CONSTANT_P = 0.05
"""Below this p of Laplace's test the rate is said to change with the clock."""


def mtbf(reader: Reader, scope: Scope, *, by: Sequence[str] = ()) -> Answer:
    """Estimate the mean operating time between failures, and the rate, of each group.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words, any of `analytics.scope.GROUPS`; none gives one pooled row.

    Returns
    -------
    Answer
        A row per group: exposure in h, km or days (positions added), failures, MTBF and rate with
        bounds (`analytics.estimate.rate.estimate_rate`), `dispersion` of the counts by locomotive,
        `constancy_p` the two-sided p of Laplace's test of a constant rate. Shortest MTBF first,
        but by month, class or depot in their own order.

    Conventions
    -----------
    A group with exposure and no failure has its row. Rows by defect or action carry the whole
    exposure each. On `days` the figure is mean calendar time between failures. Failures without a
    clock, found while nobody was observing, or (by position) without one are left out and counted.
    """
    check_groups(by, "mtbf", allowed=GROUPS)
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    found = [_estimate(case, ground.scope.level) for case in cases(ground, by)]
    table = finished([_row(group, ground, by) for group in found], (*by, *COLUMNS))
    table = ranked(table, by, "mtbf", ascending=True)
    basis = make_basis(
        ground,
        ", ".join(sorted({group.rate.method for group in found})),
        events=int(count_events(ground, ())["failures"].sum()),
        exposure=float(cells(ground, ())["exposure"].sum()),
        left_out=left_out(ground, without_position="position" in by),
    )
    return Answer(
        "mtbf", table, basis, _reading(found, ground, by), tuple(_notes(found, ground, by))
    )


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    rate: RateEstimate
    constancy_p: float
    running: float  # clock of its locomotives added up, whatever number of positions each has
    many_positions: bool  # on one locomotive


def _estimate(case: Case, level: float) -> _Group:
    seen = case.windows
    test = laplace_test(
        seen.failure_at, seen.failure_window, seen.start, seen.end, system=seen.unit
    )
    rate = estimate_rate(case.failures, case.exposure, level=level)
    running = float((seen.end - seen.start).sum())
    return _Group(case.key, rate, test.p, running, bool((seen.places > 1).any()))


def _row(group: _Group, ground: Ground, by: Sequence[str]) -> dict[str, object]:
    rate = group.rate
    figures = {name: getattr(rate, name) for name in COLUMNS if hasattr(rate, name)}
    return {
        **dict(zip(by, group.key, strict=True)),
        **figures,
        "clock": ground.clock,
        "constancy_p": group.constancy_p,
        "note": _note(group, ground),
    }


def _note(group: _Group, ground: Ground) -> str:
    rate = group.rate
    said = [
        (rate.exposure == 0, Message("note.no_exposure")),
        (rate.exposure > 0 and rate.failures == 0, Message("note.no_failure")),
        (group.constancy_p < NOT_CONSTANT_P, Message("note.not_constant")),
        (rate.method != "exact-poisson", Message("note.locomotives_differ")),
        (ground.clock == "days", Message("note.calendar_time")),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


# Of a component with one position, and per position beside the locomotive's own figure.
_READINGS = {
    "one": ("mtbf.one", "mtbf.one_each"),
    "all": ("mtbf.all", "mtbf.all_each"),
    "most_often": ("mtbf.most_often", "mtbf.most_often_each"),
    "kind": ("mtbf.kind", "mtbf.kind_each"),
}


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    """Say the pooled figure, or the group that most surely fails most often."""
    failing = [group for group in found if group.rate.failures and group.rate.exposure]
    if not failing:
        return _reading_without_failures(found, ground)
    worst = max(failing, key=lambda group: group.rate.rate_lower)
    subject = label(by, worst.key, ground)
    if len(found) > 1:
        which = "kind" if set(by) <= {*KIND_WORDS, "month"} else "most_often"
    else:
        which = "one" if subject else "all"
    return on_clock(
        _READINGS[which][worst.many_positions],
        ground.clock,
        subject=subject,
        mtbf=worst.rate.mtbf,
        each=worst.running / worst.rate.failures,
        lower=worst.rate.mtbf_lower,
        upper=worst.rate.mtbf_upper,
        percent=whole(100 * ground.scope.level),
        failures=worst.rate.failures,
        exposure=worst.rate.exposure,
    )


def _reading_without_failures(found: list[_Group], ground: Ground) -> Message:
    if not in_use(ground):
        return Message(NOT_IN_USE)
    exposure = math.fsum(group.rate.exposure for group in found[:1])
    if len(found) != 1 or not exposure:
        return Message("mtbf.nothing")
    return on_clock(
        "mtbf.none_failed_each" if found[0].many_positions else "mtbf.none_failed",
        ground.clock,
        exposure=exposure,
        lower=found[0].rate.mtbf_lower,
        percent=whole(100 * ground.scope.level),
    )


def _notes(found: list[_Group], ground: Ground, by: Sequence[str]) -> list[Message]:
    notes = exposure_notes(ground, by)
    changing = sum(group.constancy_p < NOT_CONSTANT_P for group in found)
    differing = sum(group.rate.method != "exact-poisson" for group in found)
    if changing and len(found) == 1:
        notes.insert(0, Message("mtbf.one_not_constant", p=chance(found[0].constancy_p)))
    elif changing:
        notes.insert(0, Message("mtbf.not_constant", rows=changing, all=len(found)))
    if differing and len(found) == 1:
        notes.append(Message("mtbf.one_locomotives_differ"))
    elif differing:
        notes.append(Message("mtbf.locomotives_differ", rows=differing, all=len(found)))
    if ground.clock == "days":
        notes.append(Message("mtbf.calendar_time"))
    return notes
