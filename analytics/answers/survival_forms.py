"""The forms an answer about lives can take beside the curve, the fit and the intensity."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypedDict

from analytics.answer import Answer
from analytics.errors import ScopeError
from analytics.scope import Scope
from analytics.store import Reader


class Forms(TypedDict, total=False):
    """Which form is asked for; one at a time.

    `kinds`: the share ended by each kind of defect. `differ`: a word whose groups are told apart.
    `hazard`: hazard and reliability of the best law, of lives that have `reached` an age. `plot`:
    points on probability paper.
    """

    kinds: bool
    differ: str | None
    hazard: bool
    reached: float | None
    plot: bool


def other_form(
    reader: Reader,
    scope: Scope,
    by: Sequence[str],
    forms: Forms,
    *,
    fitted: bool,
    restored: bool,
) -> Answer | None:
    """Return the answer in the form asked for, None where it is the curve, fit or intensity.

    Raises
    ------
    ScopeError
        For two forms at once, `reached` without `hazard`, or groups by defect without `kinds`.
    """
    differ, reached = forms.get("differ"), forms.get("reached")
    plot, kinds, hazard = (bool(forms.get(name)) for name in ("plot", "kinds", "hazard"))
    asked = {
        "fit": fitted,
        "intensity": restored,
        "kinds": kinds,
        "differ": differ is not None,
        "hazard": hazard,
        "plot": plot,
    }
    given = [name for name, wanted in asked.items() if wanted]
    if len(given) > 1:
        raise ScopeError(f"survival takes one of {', '.join(asked)}, but is given {given}.")
    if reached is not None and not hazard:
        raise ScopeError("reached needs hazard: only reliability depends on an age reached.")
    if "defect" in by and not kinds and not restored:
        raise ScopeError(
            "survival cannot be split by 'defect', for kinds of defect compete to end one life; "
            "ask with kinds (--kinds) for the share that each has ended."
        )
    if kinds:
        from analytics.answers.incidence import incidence

        return incidence(reader, scope, by=[word for word in by if word != "defect"])
    if differ is not None:
        from analytics.answers.differ import differ as told_apart

        return told_apart(reader, scope, differ, by=by)
    if hazard:
        from analytics.answers.hazard import hazard as life_hazard

        return life_hazard(reader, scope, by=by, reached=reached or 0.0)
    if plot:
        from analytics.answers.life_plot import life_plot

        return life_plot(reader, scope, by=by)
    return None
