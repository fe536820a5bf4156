"""Laws of life fitted to the lives of each group: Weibull, lognormal, exponential."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.clocks import on_clock, whole
from analytics.answers.first_lives import (
    FirstLives,
    count_first,
    first_life_note,
    first_life_notes,
    number_places,
    only_first,
)
from analytics.answers.ground import Ground
from analytics.answers.groups import Key, check_groups, each_group, finished, label
from analytics.answers.lives import Lives, count_lives, enough_locomotives, life_batch, life_data
from analytics.answers.survival import (
    ALLOWED,
    life_basis,
    life_notes,
    locomotives_differ,
    read_ground,
)
from analytics.estimate.life_clusters import FEWEST_CLUSTERS
from analytics.estimate.lives import LifeFit, fit_groups
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "model", "shape", "shape_lower", "shape_upper", "scale", "mu", "sigma", "loglik",
    "aicc", "lives", "failures", "left_out", "b10", "b10_lower", "b10_upper", "median",
    "median_lower", "median_upper", "mean", "mean_lower", "mean_upper", "note",
)  # fmt: skip
MOST_CHECKED = 4  # groups whose best fit is checked: the other program takes 0.1 s a fit
_FIGURES = tuple(
    name
    for name in COLUMNS
    if name not in {"clock", "aicc", "lives", "failures", "left_out", "note"}
)


def fit_lives(
    reader: Reader, scope: Scope, *, by: Sequence[str] = (), first_life: bool = False
) -> Answer:
    """Fit laws of life to the lives of each group, best AICc first.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words: component, class, depot (at the end of the life), locomotive, position.
    first_life
        Fit the first known life of each position alone, and not all of its lives.

    Returns
    -------
    Answer
        A row per group and law, ages in h, km or days; `left_out` counts lives of the group whose
        start or clock is not known.

    Conventions
    -----------
    A failure lies between the last look that found the part sound and the finding, exactly at the
    finding where nobody looks in between. Bounds allow for lives of one locomotive being alike
    where 10 locomotives or more were watched (`analytics.estimate.life_clusters`). Lives are cut
    to the period by late entry. Fewer than 3 failures: one row, no law. Beside a fit of all lives
    stands what the first known lives alone give: the row of the best law says so where the medians
    of both, by that law, lie outside each other's bounds. All groups are fitted in one go.
    """
    check_groups(by, "survival", allowed=ALLOWED)
    ground, lives = read_ground(reader, scope)
    found = _fitted(lives, by, scope.level, first_life=first_life)
    rows = [_row(group, fit, ground, by) for group in found for fit in group.fits]
    table = finished(rows, (*by, *COLUMNS))
    shown = only_first(lives) if first_life else lives
    notes = life_notes(shown, ground, by, exactly=False)
    notes += _of_locomotives(found)
    if not first_life:
        notes.append(Message("fit.per_replacement"))
    firsts = [(group.fits[0], group.first) for group in found]
    notes += first_life_notes(firsts, ground.clock, used=first_life)
    notes += _second_opinions(found, by, ground)
    how = "between inspections" if shown.between_looks else "exact ages"
    bounds = how_bounded([group.lives for group in found])
    basis = life_basis(ground, shown, f"maximum likelihood, {how}, {bounds}")
    return Answer("survival", table, basis, _reading(found, ground, by), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    lives: pd.DataFrame
    left_out: int
    fits: list[LifeFit]
    first: FirstLives


def _fitted(lives: Lives, by: Sequence[str], level: float, *, first_life: bool) -> list[_Group]:
    """Fit every group, and the first known lives of every group, each in one go."""
    numbered = number_places(lives)
    parts = list(each_group(numbered.frame, by, numbered.dropped))
    firsts = [part[part["first_known"].astype(bool)] for _, part, _ in parts]
    shown = firsts if first_life else [part for _, part, _ in parts]
    fits = fit_groups(life_batch(shown), level=level)
    alone = fits if first_life else fit_groups(life_batch(firsts), level=level)
    return [
        _Group(key, shown[at], len(dropped), fits[at], count_first(part, dropped, alone[at]))
        for at, (key, part, (dropped,)) in enumerate(parts)
    ]


def how_bounded(parts: Sequence[pd.DataFrame]) -> str:
    """Return the words for how laws fitted to groups of lives are bounded."""
    by_locomotive = any(enough_locomotives(part) for part in parts)
    return "profile bounds by locomotive" if by_locomotive else "profile bounds"


def _of_locomotives(found: list[_Group]) -> list[Message]:
    """Say where bounds allow for lives of one locomotive being alike, and where they should."""
    few = [group for group in found if not enough_locomotives(group.lives)]
    many = [group for group in found if enough_locomotives(group.lives)]
    notes = [Message("fit.by_locomotive", fewest=FEWEST_CLUSTERS)] if many else []
    if any(locomotives_differ(group.lives) for group in many):
        notes.append(Message("fit.held_where_they_differ"))
    differing = sum(locomotives_differ(group.lives) for group in few)
    if differing and len(found) == 1:
        notes.append(Message("fit.one_locomotives_differ"))
    elif differing:
        notes.append(Message("fit.locomotives_differ", groups=differing, all=len(found)))
    return notes


def _second_opinions(found: list[_Group], by: Sequence[str], ground: Ground) -> list[Message]:
    """Ask an independent program about the best law of each group, where they are few."""
    fitted = [group for group in found if not math.isnan(group.fits[0].loglik)]
    if not fitted or len(fitted) > MOST_CHECKED:
        return []
    from analytics.estimate.lifelines_fits import second_opinion  # over a second to import

    doubted = [
        label(by, group.key, ground) or group.fits[0].model
        for group in fitted
        if not second_opinion(life_data(group.lives), group.fits[0]).agrees
    ]
    if doubted:
        return [Message("fit.second_opinion_differs", names=doubted)]
    return [Message("fit.second_opinion_agrees")]


def _row(group: _Group, fit: LifeFit, ground: Ground, by: Sequence[str]) -> dict[str, object]:
    lives = count_lives(group.lives)
    return {
        **dict(zip(by, group.key, strict=True)),
        **{name: getattr(fit, name) for name in _FIGURES},
        "clock": ground.clock,
        "aicc": _aicc(fit, lives),
        "lives": lives,
        "failures": fit.failures,
        "left_out": group.left_out,
        "note": "; ".join(part for part in _remarks(group, fit) if part),
    }


def _remarks(group: _Group, fit: LifeFit) -> list[str]:
    own = say(Message(fit.note)) if fit.note else ""
    best = fit is group.fits[0]
    return [own, first_life_note(group.first, fit) if best else ""]


def _aicc(fit: LifeFit, lives: int) -> float:
    """Count lives, not the stretches that pauses cut them into (Hurvich & Tsai 1989)."""
    parameters = 1 if fit.model == "exponential" else 2
    spare = lives - parameters - 1
    if spare <= 0:
        return math.nan
    return 2 * parameters - 2 * fit.loglik + 2 * parameters * (parameters + 1) / spare


def _reading(found: list[_Group], ground: Ground, by: Sequence[str]) -> Message:
    fitted = [group for group in found if not math.isnan(group.fits[0].loglik)]
    if not fitted:
        failures = sum(group.fits[0].failures for group in found)
        return Message("fit.nothing", failures=failures)
    group = min(fitted, key=lambda one: one.fits[0].median)
    best = group.fits[0]
    subject = label(by, group.key, ground)
    one = "fit.one" if subject else "fit.all"
    return on_clock(
        one if len(found) == 1 else "fit.shortest",
        ground.clock,
        subject=subject,
        model=best.model,
        b10=best.b10,
        b10_lower=best.b10_lower,
        b10_upper=best.b10_upper,
        median=best.median,
        median_lower=best.median_lower,
        median_upper=best.median_upper,
        percent=whole(100 * ground.scope.level),
        failures=best.failures,
        lives=count_lives(group.lives),
    )
