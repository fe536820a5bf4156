"""Points on probability paper: whether the best law of life agrees with the curve of the lives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.best_law import BestLaw, best_laws
from analytics.answers.clocks import whole
from analytics.answers.ground import Ground
from analytics.answers.groups import check_groups, finished, label
from analytics.answers.survival import ALLOWED, curve_of, life_basis, life_notes, read_ground
from analytics.estimate.lives import life_survival
from analytics.estimate.probability_plot import PlotPoints, plot_points
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = ("clock", "model", "age", "survival", "x", "y", "fitted")


def life_plot(reader: Reader, scope: Scope, *, by: Sequence[str] = ()) -> Answer:
    """Set the curve of the lives against the best law, on the paper on which that law is a line.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words: component, class, depot (at the end of the life), locomotive, position.

    Returns
    -------
    Answer
        A row per group and age of failure: `survival` halfway down the curve's step there, its
        place `x`, `y` on the paper of `model`, and the law's survival `fitted`
        (`analytics.estimate.probability_plot`).

    Conventions
    -----------
    Curve as in `survival`, law as in `fit` (least AICc). The check counts the ages at which the law
    leaves the curve's pointwise bounds: more than 1 - level of them, and the law is doubted.
    """
    check_groups(by, "survival", allowed=ALLOWED)
    ground, lives = read_ground(reader, scope)
    laws = best_laws(lives, by, level=scope.level)
    method = "turnbull" if lives.intervals_matter else "km"
    found = [_Drawn(law, _points(law, method, scope.level)) for law in laws if law.fitted]
    found = [drawn for drawn in found if drawn.points.age.size]
    frames = [drawn.rows(by, ground.clock) for drawn in found]
    table = finished(pd.concat(frames, ignore_index=True) if frames else [], (*by, *COLUMNS))
    notes = life_notes(lives, ground, by, exactly=not lives.intervals_matter)
    if len(found) < len(laws):
        notes.insert(0, Message("hazard.without", groups=len(laws) - len(found), all=len(laws)))
    if found:
        notes.append(Message("plot.no_test"))
    basis = life_basis(ground, lives, f"{method}, maximum likelihood")
    return Answer("survival", table, basis, _reading(found, ground, by), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Drawn:
    law: BestLaw
    points: PlotPoints

    def rows(self, by: Sequence[str], clock: str) -> pd.DataFrame:
        """Return the rows of the table."""
        names = [name for name in COLUMNS if name not in ("clock", "model")]
        frame = pd.DataFrame({name: getattr(self.points, name) for name in names})
        groups = dict(zip(by, self.law.key, strict=True))
        return frame.assign(clock=clock, model=self.law.fit.model, **groups)

    def doubted(self, level: float) -> bool:
        """Whether the law leaves the bounds at more ages than chance gives to one age."""
        return self.points.outside > (1.0 - level) * self.points.age.size


def _points(law: BestLaw, method: str, level: float) -> PlotPoints:
    curve = curve_of(law.lives, method, level)
    drawn = (curve.survival, curve.lower, curve.upper)
    return plot_points(law.fit.model, curve.age, drawn, life_survival(law.fit, curve.age))


def _reading(found: list[_Drawn], ground: Ground, by: Sequence[str]) -> Message:
    if not found:
        return Message("hazard.nothing")
    level = ground.scope.level
    worst = max(found, key=lambda one: one.points.furthest)
    subject = label(by, worst.law.key, ground) if by else ""
    doubted = sum(one.doubted(level) for one in found)
    one = "plot.doubted" if doubted else "plot.agrees"
    values = {
        "subject": f"{subject}: " if subject else "",
        "model": worst.law.fit.model,
        "percent": whole(100 * level),
        "furthest": 100 * worst.points.furthest,
        "outside": worst.points.outside,
        "points": int(worst.points.age.size),
        "groups": len(found),
        "doubted": doubted,
    }
    return Message("plot.several" if len(found) > 1 else one, **values)
