"""How likely a part is to fail at each age, and to last on, by the best law of its lives."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.best_law import BestLaw, best_laws
from analytics.answers.clocks import on_clock, whole
from analytics.answers.fit import how_bounded
from analytics.answers.ground import Ground
from analytics.answers.groups import check_groups, finished, label
from analytics.answers.lives import life_data, whose
from analytics.answers.survival import ALLOWED, life_basis, life_notes, read_ground
from analytics.errors import ScopeError
from analytics.estimate.life_batch import LifeBatch
from analytics.estimate.life_hazard import conditional_reliability, hazard_at
from analytics.estimate.lives import Model
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "model", "age", "hazard", "hazard_lower", "hazard_upper", "reliability",
    "reliability_lower", "reliability_upper",
)  # fmt: skip
_AGES = ["entry", "lower", "exit"]
STEPS = 20


def hazard(reader: Reader, scope: Scope, *, by: Sequence[str] = (), reached: float = 0.0) -> Answer:
    """Estimate hazard and conditional reliability by age from the best fitting law of life.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words: component, class, depot (at the end of the life), locomotive, position.
    reached
        The age, in h, km or days, that a life has reached; reliability is the chance of lasting on
        from it.

    Returns
    -------
    Answer
        Twenty rows per group that has a law, at even steps from `reached` to the greatest age
        watched; none where nobody was watched beyond `reached`.

    Conventions
    -----------
    Lives and laws as in `fit`, the law with the least AICc. The hazard is per unit of the clock.
    Bounds by the profile of that law alone: they do not allow for another law being the true one.

    Raises
    ------
    ScopeError
        An age reached below 0.
    """
    check_groups(by, "survival", allowed=ALLOWED)
    if not 0 <= reached < np.inf:
        raise ScopeError(f"reached must be an age of 0 or more, but is {reached!r}.")
    ground, lives = read_ground(reader, scope)
    laws = best_laws(lives, by, level=scope.level)
    shown = _figures(laws, reached, scope.level)
    frames = [
        rows.assign(clock=ground.clock, **dict(zip(by, law.key, strict=True)))
        for law, rows in shown
    ]
    table = finished(pd.concat(frames, ignore_index=True) if frames else [], (*by, *COLUMNS))
    notes = life_notes(lives, ground, by, exactly=False)
    if len(shown) < len(laws):
        notes.insert(0, Message("hazard.without", groups=len(laws) - len(shown), all=len(laws)))
    if shown:
        notes.append(Message("hazard.by_the_law"))
    bounds = how_bounded([law.lives for law in laws])
    basis = life_basis(ground, lives, f"maximum likelihood, {bounds}")
    return Answer("survival", table, basis, _reading(shown, ground, by, reached), tuple(notes))


def _figures(
    laws: list[BestLaw], reached: float, level: float
) -> list[tuple[BestLaw, pd.DataFrame]]:
    """Return each group that has a law, and was watched beyond the age, with its rows.

    Groups of one law are taken together where no age was reached: their ages are then shares of
    the greatest one watched, the same for all.
    """
    kept = [law for law in laws if law.fitted and law.lives["exit"].max() > reached]
    found: dict[int, pd.DataFrame] = {}
    for model in {law.fit.model for law in kept}:
        mine = [at for at, law in enumerate(kept) if law.fit.model == model]
        batches = [mine] if reached == 0 else [[at] for at in mine]
        for batch in batches:
            rows = _rows([kept[at] for at in batch], cast(Model, model), reached, level)
            found |= dict(zip(batch, rows, strict=True))
    return [(law, found[at]) for at, law in enumerate(kept)]


def _rows(laws: list[BestLaw], model: Model, reached: float, level: float) -> list[pd.DataFrame]:
    last = [float(law.lives["exit"].max()) for law in laws]
    data = [
        life_data(law.lives.assign(**law.lives[_AGES] / unit))
        for law, unit in zip(laws, last, strict=True)
    ]
    batch = LifeBatch.join(data, [whose(law.lives) for law in laws])
    begin = reached / last[0]
    ages = np.linspace(begin, 1.0, STEPS + 1)[1:]
    at = hazard_at(batch, model, ages, level=level)
    on = [
        conditional_reliability(batch, model, [begin], float(age - begin), level=level)
        for age in ages
    ]
    return [
        pd.DataFrame(
            {
                "model": model,
                "age": ages * unit,
                "hazard": at.value[:, which] / unit,
                "hazard_lower": at.lower[:, which] / unit,
                "hazard_upper": at.upper[:, which] / unit,
                "reliability": [one.value[0, which] for one in on],
                "reliability_lower": [one.lower[0, which] for one in on],
                "reliability_upper": [one.upper[0, which] for one in on],
            }
        )
        for which, unit in enumerate(last)
    ]


def _reading(
    shown: list[tuple[BestLaw, pd.DataFrame]], ground: Ground, by: Sequence[str], reached: float
) -> Message:
    """Say how many last halfway from the age reached to the end of what was watched."""
    if not shown:
        return Message("hazard.nothing")
    at = STEPS // 2 - 1
    law, rows = min(shown, key=lambda one: float(one[1]["reliability"].iloc[at]))
    row = rows.iloc[at]
    subject = label(by, law.key, ground) if by else ""
    return on_clock(
        "hazard.one" if len(shown) == 1 else "hazard.least",
        ground.clock,
        subject=f"{subject}: " if subject else "",
        reached=whole(reached),
        age=float(row["age"]),
        share=100 * float(row["reliability"]),
        lower=100 * float(row["reliability_lower"]),
        upper=100 * float(row["reliability_upper"]),
        percent=whole(100 * ground.scope.level),
        model=law.fit.model,
        groups=len(shown),
    )
