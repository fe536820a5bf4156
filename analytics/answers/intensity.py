"""The chance of a defect by age since the last renewal: how often, and how it adds up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import chance, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label
from analytics.answers.risk import Risk, intervals_of, read_risk
from analytics.estimate.intensity import BANDED, IntensityFits, fit_intensities, intensity_curve
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "age", "intensity", "lower", "upper", "cumulative", "cumulative_lower",
    "cumulative_upper", "at_risk", "events", "model", "shape", "shape_lower", "shape_upper", "note",
)  # fmt: skip
ALLOWED = ("component", "class", "depot", "locomotive", "position")
STEPS = 20
FEWEST_AT_RISK = 5
"""The curve ends where fewer positions than this are at risk."""


def intensity(reader: Reader, scope: Scope, *, by: Sequence[str] = ()) -> Answer:
    """Estimate how often a position fails at each age since its last renewal.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Other than for lives, a filter on defects keeps its sense:
        the intensities of kinds of defect add up.
    by
        Group words: component, class, depot, locomotive, position.

    Returns
    -------
    Answer
        Twenty rows per group, at even steps of age up to where 5 positions are at risk (all the way
        where never so many are): `intensity` per position and unit of the clock, `cumulative`
        failures per position since renewal, both with pointwise bounds; positions at risk at that
        age, failures since the row before; model and shape as
        `analytics.estimate.intensity.fit_intensities`.

    Conventions
    -----------
    Restored positions keep their age, so that this is not the hazard of lives. Positions whose last
    renewal is not on record are left out and counted, and so are failures without a position.
    """
    check_groups(by, "survival", allowed=ALLOWED)
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    risk = read_risk(ground)
    groups = [_Group(key, part) for key, part, _ in each_group(risk.aged, by) if len(part)]
    fits = _fit(groups, scope.level)
    rows = [_rows(number, group, fits, ground, by) for number, group in enumerate(groups)]
    table = finished(pd.concat(rows, ignore_index=True) if rows else [], (*by, *COLUMNS))
    basis = make_basis(
        ground,
        ", ".join(sorted({str(name) for name in fits.model if name})),
        events=int(risk.aged["events"].sum()),
        exposure=float(risk.aged["length"].sum()),
        left_out=_left_out(risk),
    )
    notes = tuple(_notes(fits, risk, ground, by))
    return Answer("survival", table, basis, _reading(groups, fits, ground, by), notes)


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    part: pd.DataFrame


def _fit(groups: list[_Group], level: float) -> IntensityFits:
    parts = [group.part for group in groups]
    frame = pd.concat(parts) if parts else pd.DataFrame(columns=["start", "stop", "events"])
    sizes = [len(part) for part in parts]
    group = np.repeat(np.arange(len(parts)), sizes)
    if not parts:
        frame = frame.assign(locomotive=[]).astype({"start": float, "stop": float, "events": float})
    return fit_intensities(intervals_of(frame, group, len(parts)), level=level)


def _rows(
    number: int, group: _Group, fits: IntensityFits, ground: Ground, by: Sequence[str]
) -> pd.DataFrame:
    ages, at_risk = _ages(group.part)
    curve = intensity_curve(fits, number, ages)
    names = [name for name in COLUMNS if hasattr(curve, name)]
    table = pd.DataFrame({name: getattr(curve, name) for name in names})
    failed = group.part[group.part["events"] > 0]
    events = np.histogram(failed["stop"], np.append(0.0, ages), weights=failed["events"])[0]
    note = str(fits.note[number])
    return table.assign(
        clock=ground.clock,
        at_risk=at_risk,
        events=events.astype(np.int64),
        model=str(fits.model[number]),
        shape=fits.shape[number],
        shape_lower=fits.shape_lower[number],
        shape_upper=fits.shape_upper[number],
        note=say(Message(note)) if note else "",
        **dict(zip(by, group.key, strict=True)),
    )


def _ages(part: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Return even steps of age up to the last one with enough positions at risk, and how many."""
    start, stop = np.sort(part["start"].to_numpy()), np.sort(part["stop"].to_numpy())
    at_stop = np.searchsorted(start, stop) - np.searchsorted(stop, stop)
    enough = stop[at_stop >= FEWEST_AT_RISK]
    last = enough[-1] if enough.size else stop[-1]
    if not last > 0:
        return np.zeros(0), np.zeros(0, np.int64)
    ages = last * np.arange(1, STEPS + 1) / STEPS
    return ages, np.searchsorted(start, ages) - np.searchsorted(stop, ages)


def _left_out(risk: Risk) -> dict[str, int]:
    more = {"unknown_start": risk.unknown_start, "no_position": len(risk.unplaced)}
    return risk.left_out | {reason: count for reason, count in more.items() if count}


def _notes(fits: IntensityFits, risk: Risk, ground: Ground, by: Sequence[str]) -> list[Message]:
    notes = []
    rejected = int((fits.model == BANDED).sum())
    if rejected:
        notes.append(Message("intensity.banded_rows", groups=rejected, all=fits.model.size))
    if risk.unknown_start:
        notes.append(Message("intensity.unknown_start", failures=risk.unknown_start))
    if len(risk.unplaced):
        notes.append(Message("intensity.not_stated", failures=len(risk.unplaced)))
    if len(ground.components) > 1 and "component" not in by:
        notes.append(Message("survival.pooled_components", components=len(ground.components)))
    return notes


def _reading(
    groups: list[_Group], fits: IntensityFits, ground: Ground, by: Sequence[str]
) -> Message:
    if not groups:
        return Message("intensity.nothing")
    rising, falling = fits.shape_lower > 1, fits.shape_upper < 1
    if len(groups) > 1:
        return Message(
            "intensity.groups",
            groups=len(groups),
            rising=int(rising.sum()),
            falling=int(falling.sum()),
        )
    subject = label(by, groups[0].key, ground) or say(Message("intensity.all"))
    failures = int(fits.events[0])
    if np.isnan(fits.shape[0]):
        return Message("intensity.few", subject=subject, failures=failures)
    if fits.model[0] == BANDED:
        return Message(
            "intensity.banded", subject=subject, p=chance(float(fits.p[0])), failures=failures
        )
    key = "intensity.rises" if rising[0] else "intensity.falls" if falling[0] else "intensity.even"
    return Message(
        key,
        subject=subject,
        shape=float(fits.shape[0]),
        lower=float(fits.shape_lower[0]),
        upper=float(fits.shape_upper[0]),
        percent=whole(100 * ground.scope.level),
        failures=failures,
    )
