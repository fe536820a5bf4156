"""How long it runs between failures: mean operating time between failures, rate, bounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from analytics.answer import Answer, Message, say
from analytics.answers.basis import exposure_notes, make_basis
from analytics.answers.clocks import chance, on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, cells, check_groups, events, finished, label, left_out
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
        `constancy_p` the two-sided p of Laplace's test of a constant rate.

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
    basis = make_basis(
        ground,
        ", ".join(sorted({group.rate.method for group in found})),
        events=len(events(ground, ())),
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


def _estimate(case: Case, level: float) -> _Group:
    seen = case.windows
    test = laplace_test(
        seen.failure_at, seen.failure_window, seen.start, seen.end, system=seen.unit
    )
    return _Group(case.key, estimate_rate(case.failures, case.exposure, level=level), test.p)


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


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    """Say the pooled figure, or the group that most surely fails most often."""
    failing = [group for group in found if group.rate.failures and group.rate.exposure]
    if not failing:
        return _reading_without_failures(found, ground)
    worst = max(failing, key=lambda group: group.rate.rate_lower)
    one = len(found) == 1
    subject = label(by, worst.key, ground)
    key = "mtbf.one" if one and subject else "mtbf.all" if one else "mtbf.most_often"
    return on_clock(
        key,
        ground.clock,
        subject=subject,
        groups=len(found),
        mtbf=worst.rate.mtbf,
        lower=worst.rate.mtbf_lower,
        upper=worst.rate.mtbf_upper,
        percent=whole(100 * ground.scope.level),
        failures=worst.rate.failures,
        exposure=worst.rate.exposure,
    )


def _reading_without_failures(found: list[_Group], ground: Ground) -> Message:
    exposure = math.fsum(group.rate.exposure for group in found[:1])
    if len(found) != 1 or not exposure:
        return Message("mtbf.nothing")
    return on_clock(
        "mtbf.none_failed",
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
