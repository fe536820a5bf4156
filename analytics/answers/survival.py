"""How long one lasts: the share of lives not yet ended by a failure, by age."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Unpack, cast

import numpy as np
import pandas as pd

from analytics.answer import Answer, Basis, Message
from analytics.answers.basis import make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import Key, check_groups, curve_table, each_group, label
from analytics.answers.lives import Lives, count_lives, not_stated, read_lives
from analytics.answers.survival_forms import Forms, other_form
from analytics.errors import ScopeError
from analytics.estimate.rate import SAME_RATE_P, dispersion_of_counts
from analytics.estimate.survival import (
    SurvivalCurve,
    kaplan_meier,
    lower_bound_without_failure,
    median_from_curve,
)
from analytics.estimate.turnbull import TurnbullCurve, turnbull_bounds
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = ("clock", "age", "survival", "lower", "upper", "at_risk", "events")
ALLOWED = ("component", "class", "depot", "locomotive", "position")
METHODS = ("km", "turnbull")
NO_FAILURES = "survival.no_failures"


def survival(
    reader: Reader,
    scope: Scope,
    *,
    by: Sequence[str] = (),
    method: str | None = None,
    fit: bool = False,
    first_life: bool = False,
    intensity: bool = False,
    **forms: Unpack[Forms],
) -> Answer:
    """Estimate the share of lives still going at each age, or fit laws of life to them.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Defects are not: see Conventions.
    by
        Group words: component, class, depot (at the end of the life), locomotive, position.
    method
        `km` (Kaplan-Meier, a failure taken as when it was found) or `turnbull` (a failure somewhere
        between the last look and the finding). None: Turnbull where the interval matters.
    fit
        Weibull, lognormal and exponential law instead of a curve: see `analytics.answers.fit`.
    first_life
        With `fit`: from the first known life of each position alone.
    intensity
        How often a position fails at each age instead: see `analytics.answers.intensity`.
    **forms
        Other answers about the same lives: see `analytics.answers.survival_forms`.

    Returns
    -------
    Answer
        Rows per group: the age from which the curve is drawn, then each age with a failure. The
        lower bound of the first row, where none has failed yet, is the exact one of no failure.

    Conventions
    -----------
    A life runs from one renewal of a position to the next; restoring does not end it. Lives with an
    unknown start are left out and counted. Since and until cut lives, they drop none: the age at
    since is a late entry. Filtered by defect there is no curve: kinds of defect compete, and 1 -
    Kaplan-Meier of one kind is not the share that fails of it.
    """
    other = other_form(reader, scope, by, forms, fitted=fit, restored=intensity)
    if other is not None:
        return other
    if intensity:
        from analytics.answers.intensity import intensity as defect_intensity

        return defect_intensity(reader, scope, by=by)
    if fit:
        from analytics.answers.fit import fit_lives  # the laws are slow to import

        return fit_lives(reader, scope, by=by, first_life=first_life)
    if first_life:
        raise ScopeError(
            "first_life needs fit (--first-life, --fit): only laws are made of first lives alone."
        )
    check_groups(by, "survival", allowed=ALLOWED)
    if method not in (None, *METHODS):
        raise ScopeError(f"method must be one of {', '.join(METHODS)}, but is {method!r}.")
    ground, lives = read_ground(reader, scope)
    chosen = method or ("turnbull" if lives.intervals_matter else "km")
    found = [
        _Group(key, part, curve_of(part, chosen, scope.level))
        for key, part, _ in each_group(lives.frame, by)
        if len(part)
    ]
    curves = [(group.key, _with_first_bound(group)) for group in found]
    table = curve_table(curves, (*by, *COLUMNS), clock=ground.clock)
    notes = [*_notes(found), *life_notes(lives, ground, by, exactly=chosen == "km")]
    notes += _uneven(found)
    basis = life_basis(ground, lives, _method(found, chosen))
    return Answer("survival", table, basis, _reading(found, ground, by), tuple(notes))


def read_ground(reader: Reader, scope: Scope) -> tuple[Ground, Lives]:
    """Lay out a Scope and read its lives; none where defects are filtered."""
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    lives = read_lives(ground)
    if competing(ground):
        none = lives.frame.iloc[:0]
        return ground, Lives(none, lives.dropped.iloc[:0], {}, 0, 0.0)
    return ground, lives


def competing(ground: Ground) -> bool:
    """Whether the Scope keeps some of the defects that can end a life, and not others."""
    kept = set(ground.scope.defects)
    components = ground.catalogue.components
    return bool(kept) and any(set(components[name].defects) - kept for name in ground.components)


def life_basis(ground: Ground, lives: Lives, method: str) -> Basis:
    """Put together the basis of a figure made of lives."""
    frame = lives.frame
    failures = int(frame["failed"].sum())
    missing = not_stated(ground)
    return make_basis(
        ground,
        method,
        events=failures,
        exposure=float((frame["exit"] - frame["entry"]).sum()),
        censored=count_lives(frame) - failures,
        left_out=lives.left_out | ({"no_position": missing} if missing else {}),
    )


def life_notes(lives: Lives, ground: Ground, by: Sequence[str], *, exactly: bool) -> list[Message]:
    """Say what limits a figure made of lives; `exactly`: findings are taken as the failures."""
    notes = []
    if competing(ground):
        notes.append(Message("survival.kinds_compete", defects=ground.scope.defects))
    for name, share in lives.refused.items():
        notes.append(Message("survival.not_stated", component=name, percent=100 * share))
    failed = lives.frame[lives.frame["failed"]]
    if len(failed) and not failed["inspected"].all():
        notes.append(Message("survival.no_inspections"))
    if lives.interval_ratio > 0:
        known = "survival.interval_ignored" if exactly else "survival.interval_used"
        small = exactly and not lives.intervals_matter
        key = "survival.interval_small" if small else known
        notes.append(Message(key, percent=100 * lives.interval_ratio))
    if lives.zero_length:
        notes.append(Message("survival.zero_length", failures=lives.zero_length))
    if lives.left_out.get("unknown_start"):
        notes.append(Message("survival.unknown_start", lives=lives.left_out["unknown_start"]))
    if len(ground.components) > 1 and "component" not in by:
        notes.append(Message("survival.pooled_components", components=len(ground.components)))
    return notes


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    lives: pd.DataFrame
    curve: SurvivalCurve | TurnbullCurve


def locomotives_differ(lives: pd.DataFrame) -> bool:
    """Whether locomotives fail at different rates by more than chance."""
    watched = lives["exit"] - lives["entry"]
    each = lives.assign(watched=watched).groupby("locomotive")[["failed", "watched"]].sum()
    _, p = dispersion_of_counts(
        each["failed"].to_numpy(dtype=np.float64), each["watched"].to_numpy(dtype=np.float64)
    )
    return p <= SAME_RATE_P


def _uneven(found: list[_Group]) -> list[Message]:
    """Say where locomotives differ: even bounds by locomotive then hold less than their level."""
    differing = sum(locomotives_differ(group.lives) for group in found)
    if not differing:
        return []
    if len(found) == 1:
        return [Message("survival.one_locomotives_differ")]
    return [Message("survival.locomotives_differ", groups=differing, all=len(found))]


def curve_of(part: pd.DataFrame, method: str, level: float) -> SurvivalCurve | TurnbullCurve:
    """Draw the curve of some lives by `km` or `turnbull`."""
    if method == "turnbull":
        upper = np.where(part["failed"], part["exit"], np.inf)
        lower = np.where(part["failed"], part["lower"], part["exit"])
        return turnbull_bounds(lower, upper, part["entry"], cluster=part["locomotive"], level=level)
    return kaplan_meier(
        part["entry"],
        part["exit"],
        part["failed"],
        level=level,
        cluster=part["locomotive"],
        life=part["number"],
    )


def _with_first_bound(group: _Group) -> SurvivalCurve | TurnbullCurve:
    """Give the first row, which holds up to the first failure, the bound of none having failed.

    The number at risk is that of the next row; without any failure, that at the curve's end.
    """
    curve, lives = group.curve, group.lives
    if curve.age.size > 1:
        at_risk = float(curve.at_risk[1])
    else:
        at_risk = float(((lives["entry"] < curve.cut_age) & (lives["exit"] >= curve.cut_age)).sum())
    first = lower_bound_without_failure(at_risk, curve.level)
    return replace(curve, lower=np.append(first, curve.lower[1:]))


def _method(found: list[_Group], chosen: str) -> str:
    return ", ".join(sorted({group.curve.method for group in found})) or chosen


def _notes(found: list[_Group]) -> list[Message]:
    """Say what the estimators remarked, each remark once."""
    remarks = [group.curve.note for group in found if group.curve.note]
    sound = sum(group.curve.age.size == 1 for group in found)
    if not sound:
        return [Message(key) for key in dict.fromkeys(remarks)]
    # The bound is said instead of the estimator's remark that none failed.
    kept = [Message(key) for key in dict.fromkeys(remarks) if key != NO_FAILURES]
    if len(found) == 1:
        return [Message("survival.one_bound_without_failure"), *kept]
    return [Message("survival.bound_without_failure", curves=sound, all=len(found)), *kept]


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    failing = [group for group in found if group.curve.failures]
    if not failing:
        lives = sum(count_lives(group.lives) for group in found)
        return Message("survival.nothing_failed" if lives else "survival.nothing", lives=lives)
    # Only the steps are read, and those the two curves have in common.
    medians = [(median_from_curve(cast(SurvivalCurve, g.curve)), g) for g in failing]
    reached = [pair for pair in medians if not np.isnan(pair[0].median)]
    if not reached:
        return _reading_at_end(failing[0], ground, by, groups=len(found))
    median, group = min(reached, key=lambda pair: pair[0].median)
    subject = label(by, group.key, ground)
    one = "survival.one" if subject else "survival.all"
    return on_clock(
        one if len(found) == 1 else "survival.shortest",
        ground.clock,
        subject=subject,
        median=median.median,
        lower=median.lower,
        upper=median.upper,
        percent=whole(100 * ground.scope.level),
        lives=count_lives(group.lives),
        failures=int(group.lives["failed"].sum()),
        groups=len(found),
    )


def _reading_at_end(group: _Group, ground: Ground, by: Sequence[str], *, groups: int) -> Message:
    curve = group.curve
    return on_clock(
        "survival.beyond_half" if groups == 1 else "survival.none_to_half",
        ground.clock,
        subject=label(by, group.key, ground),
        share=100 * float(curve.survival[-1]),
        age=float(curve.cut_age),
        lives=count_lives(group.lives),
        failures=int(group.lives["failed"].sum()),
        groups=groups,
    )
