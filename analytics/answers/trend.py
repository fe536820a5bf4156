"""Whether failures come faster or slower as the locomotives age."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from analytics.answer import Answer, Message, say
from analytics.answers.basis import NOT_IN_USE, exposure_notes, in_use, make_basis
from analytics.answers.clocks import chance, on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import (
    Key,
    cells,
    check_groups,
    count_events,
    finished,
    label,
    left_out,
    ranked,
)
from analytics.answers.windows import Case, Windows, cases
from analytics.estimate.trend import (
    PowerLawData,
    PowerLawFit,
    TrendTest,
    clustered_trend_p,
    fit_power_law_data,
    laplace_test,
    mil_hdbk_189_test,
)
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "failures", "laplace_u", "laplace_p", "milhdbk_chi2", "milhdbk_p", "shape",
    "shape_lower", "shape_upper", "shape_mle", "mtbf_now", "mtbf_now_lower", "mtbf_now_upper",
    "cvm", "cvm_p", "note",
)  # fmt: skip
ALLOWED = tuple(word for word in GROUPS if word != "month")
_FITTED = (
    "shape", "shape_lower", "shape_upper", "shape_mle", "mtbf_now", "mtbf_now_lower",
    "mtbf_now_upper", "cvm", "cvm_p",
)  # fmt: skip
_TESTED = {
    "worse": "trend.tested_worse",
    "better": "trend.tested_better",
    "unclear": "trend.tested_unclear",
}
_FITTED_READING = {
    "worse": "trend.worse",
    "better": "trend.better",
    "unclear": "trend.unclear",
}
CLEAR_P = 0.05
"""Below this two-sided p a test is taken to speak."""

MOST_NAMED = 3
"""So many groups are named in the reading."""

_BADLY_FITTED_P = 0.05


def trend(reader: Reader, scope: Scope, *, by: Sequence[str] = ()) -> Answer:
    """Test whether the rate of failures changes with the clock, and fit a power law to it.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words, any but month; none gives one pooled row.

    Returns
    -------
    Answer
        A row per group: Laplace's u and the chi-square of MIL-HDBK-189 with two-sided p, the shape
        of the power law (below 1: failures grow rarer) with bounds, the MTBF of one position at the
        cut, Cramer-von Mises' statistic of the fit and its p (below 0.05 no power law fits). Those
        that get worse most clearly first (by the lower bound of the shape), but by class or depot
        in their own order.

    Conventions
    -----------
    A system is one locomotive, its positions added; every system keeps its own rate. The tests run
    on the time observed, gaps closed up. The power law runs on the clock since entry into service;
    where that is not known for a locomotive of the group its figures are empty, with a note.
    A trend is clear where the bounds of the shape leave 1 out and a test agrees, at the same level;
    where only one of them speaks the note says which. Fewer than 3 failures: empty figures.
    """
    check_groups(by, "trend", allowed=ALLOWED)
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    found = [_examine(case, ground) for case in cases(ground, by)]
    table = finished([_row(group, ground, by) for group in found], (*by, *COLUMNS))
    table = ranked(table, by, "shape_lower")
    basis = make_basis(
        ground,
        "Laplace, MIL-HDBK-189, power law",
        events=int(count_events(ground, ())["failures"].sum()),
        exposure=float(cells(ground, ())["exposure"].sum()),
        left_out=left_out(ground, without_position="position" in by),
    )
    notes = (*_notes(found), *exposure_notes(ground, by))
    return Answer("trend", table, basis, _reading(found, ground, by), notes)


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    failures: int
    laplace: TrendTest
    chi_square: TrendTest
    clustered_p: float
    fit: PowerLawFit | None  # None: age not known
    level: float


def _examine(case: Case, ground: Ground) -> _Group:
    seen = case.windows
    arrays = (seen.failure_at, seen.failure_window, seen.start, seen.end)
    return _Group(
        key=case.key,
        failures=case.failed_unit.size,
        laplace=laplace_test(*arrays, system=seen.unit),
        chi_square=mil_hdbk_189_test(*arrays, system=seen.unit),
        clustered_p=clustered_trend_p(*arrays, system=seen.unit),
        fit=_fit(seen, ground) if seen.ages_known else None,
        level=ground.scope.level,
    )


def _fit(seen: Windows, ground: Ground) -> PowerLawFit:
    cut = np.datetime64(ground.data_cut or datetime.max, "us")
    data = PowerLawData(
        seen.failure_age,
        seen.failure_window,
        seen.entry_age,
        seen.exit_age,
        unit_positions=seen.places,
        in_service=np.isnat(seen.in_service_to) | (seen.in_service_to > cut),
        system=seen.unit,
    )
    return fit_power_law_data(data, level=ground.scope.level)


def _row(group: _Group, ground: Ground, by: Sequence[str]) -> dict[str, object]:
    fitted = dict.fromkeys(_FITTED, math.nan)
    if group.fit is not None:
        fitted = {name: getattr(group.fit, name) for name in _FITTED}
    return {
        **dict(zip(by, group.key, strict=True)),
        **fitted,
        "clock": ground.clock,
        "failures": group.failures,
        "laplace_u": group.laplace.statistic,
        "laplace_p": group.laplace.p,
        "milhdbk_chi2": group.chi_square.statistic,
        "milhdbk_p": group.chi_square.p,
        "note": _note(group),
    }


def _note(group: _Group) -> str:
    if group.laplace.note:
        return say(Message(group.laplace.note))
    if group.fit is None:
        return say(Message("note.age_not_known"))
    said = [
        (bool(group.fit.note), Message(group.fit.note or "trend.no_maximum")),
        (group.fit.cvm_p < _BADLY_FITTED_P, Message("note.bad_fit", p=chance(group.fit.cvm_p))),
        (_direction(group) == "unclear", _unclear(group)),
        (
            group.laplace.p < CLEAR_P <= group.clustered_p,
            Message("note.bunched", p=chance(group.clustered_p)),
        ),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


def _direction(group: _Group) -> str:
    """Tell `worse`, `better` or `unclear`: shape and tests must agree where there is a shape."""
    shape = _shape_says(group)
    if shape:
        return shape if _tests_agree(group) else "unclear"
    if not group.laplace.p < CLEAR_P:
        return "unclear"
    return "worse" if group.laplace.statistic > 0 else "better"


def _shape_says(group: _Group) -> str:
    """Tell what the bounds of the shape say, nothing where there are none."""
    fit = group.fit
    if fit is None or math.isnan(fit.shape_lower):
        return ""
    if fit.shape_lower > 1:
        return "worse"
    return "better" if fit.shape_upper < 1 else "unclear"


def _tests_agree(group: _Group) -> bool:
    """Tell whether a test of a constant rate speaks, at the level of the bounds."""
    return _smaller_p(group) <= 1 - group.level


def _smaller_p(group: _Group) -> float:
    return min(group.laplace.p, group.chi_square.p)


def _split(group: _Group) -> bool:
    """Tell whether of shape and tests one says that there is a trend, and the other does not."""
    shape = _shape_says(group)
    return bool(shape) and (shape == "unclear") == _tests_agree(group)


def _unclear(group: _Group) -> Message:
    if not _split(group):
        return Message("note.no_verdict")
    key = "note.tests_alone" if _tests_agree(group) else "note.shape_alone"
    return Message(key, p=chance(_smaller_p(group)))


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    if not in_use(ground):
        return Message(NOT_IN_USE)
    if len(found) != 1:
        return _reading_of_groups(found, ground, by)
    group = found[0]
    if group.laplace.note:
        return Message("trend.too_few", failures=group.failures)
    if group.fit is None or math.isnan(group.fit.shape):
        return Message(
            _TESTED[_direction(group)], failures=group.failures, p=chance(group.laplace.p)
        )
    more = {"p": chance(_smaller_p(group))} if _split(group) else {}
    return on_clock(
        "trend.split" if _split(group) else _FITTED_READING[_direction(group)],
        ground.clock,
        **more,
        shape=group.fit.shape,
        lower=group.fit.shape_lower,
        upper=group.fit.shape_upper,
        percent=whole(100 * ground.scope.level),
        mtbf=group.fit.mtbf_now,
        failures=group.failures,
    )


def _reading_of_groups(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    """Count the groups with a clear trend and name the strongest of those that get worse."""
    judged = [group for group in found if not group.laplace.note]
    if not judged:
        return Message("trend.none_judged", groups=len(found))
    level = ground.scope.level
    worse, better = (
        [group for group in judged if _direction(group) == way and _tests_agree(group)]
        for way in ("worse", "better")
    )
    worse.sort(key=_strength)
    return Message(
        "trend.groups" if worse else "trend.groups_none_worse",
        groups=len(judged),
        worse=len(worse),
        better=len(better),
        chance=max(1, round((1 - level) * len(judged))),
        names=[label(by, group.key, ground) for group in worse[:MOST_NAMED]],
    )


def _strength(group: _Group) -> tuple[float, float]:
    """Order as the table: by the lower bound of the shape, then by the stronger test."""
    lower = math.nan if group.fit is None else group.fit.shape_lower
    return -(0.0 if math.isnan(lower) else lower), _smaller_p(group)


def _notes(found: list[_Group]) -> list[Message]:
    notes = []
    unknown = sum(group.fit is None and not group.laplace.note for group in found)
    bunched = sum(group.laplace.p < CLEAR_P <= group.clustered_p for group in found)
    if unknown and len(found) == 1:
        notes.append(Message("trend.one_age_not_known"))
    elif unknown:
        notes.append(Message("trend.age_not_known", rows=unknown, all=len(found)))
    if bunched and len(found) == 1:
        notes.append(Message("trend.one_bunched", p=chance(found[0].clustered_p)))
    elif bunched:
        notes.append(Message("trend.bunched", rows=bunched, all=len(found)))
    return notes
