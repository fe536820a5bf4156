"""The defects of all components as arrays, with what may become of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analytics.catalogue.model import Catalogue
from data_demo.arrays import Flags, Floats, Ints
from data_demo.laws import LifeLaw
from data_demo.scenario import FILTER, NOT_HOLDING, NOTHING_DONE
from data_demo.words import CHECKED, deferring_actions, known_action, outcome_actions

OUTCOMES = 4


@dataclass(frozen=True, slots=True)
class Defects:
    """The defects of component c lie from `first[c]` on in the arrays by defect.

    `chance` is cumulative, shape (components, most defects of one); `actions`, `outcomes`
    (cumulative), `back_chance` and `back_days` have shape (defects, 4 outcomes).
    """

    first: Ints
    chance: Floats
    names: tuple[str, ...]
    action_names: tuple[str, ...]
    actions: Ints
    outcomes: Floats
    back_chance: Floats
    back_days: Floats
    deferring: Ints  # actions that leave a finding open by choice
    waiting: int  # the action written where work was not finished


def defects_of(catalogue: Catalogue, laws: Sequence[LifeLaw]) -> Defects:
    """Lay out the defects of all components; the n-th of a component comes with weight 1 / n."""
    lists = [_drawn_defects(catalogue, name) for name in catalogue.components]
    counts = np.array([len(found) for found in lists])
    nth = np.arange(counts.max())
    weight = np.where(nth < counts[:, None], 1 / (1 + nth), 0.0)
    pairs = [
        (name, defect, law)
        for name, found, law in zip(catalogue.components, lists, laws, strict=True)
        for defect in found
    ]
    action_names = tuple(catalogue.actions)
    actions = [
        [action_names.index(action) for action in outcome_actions(catalogue, name, defect, law)]
        for name, defect, law in pairs
    ]
    not_holding = action_names.index(known_action(catalogue, NOT_HOLDING.action, "restore"))
    does_not_hold = (np.array(actions) == not_holding) & np.array(
        [[name == NOT_HOLDING.component] for name, _, _ in pairs]
    )
    return Defects(
        first=np.concatenate([[0], np.cumsum(counts)[:-1]]),
        chance=np.cumsum(weight / weight.sum(axis=1, keepdims=True), axis=1),
        names=tuple(defect for _, defect, _ in pairs),
        action_names=action_names,
        actions=np.array(actions),
        outcomes=np.array([_outcomes(law) for _, _, law in pairs]),
        back_chance=_back_chance(does_not_hold),
        back_days=np.where(does_not_hold, NOT_HOLDING.mean_days, NOTHING_DONE.mean_days),
        waiting=action_names.index(known_action(catalogue, "awaiting-parts", "defer")),
        deferring=np.array([action_names.index(name) for name in deferring_actions(catalogue)]),
    )


def _drawn_defects(catalogue: Catalogue, component: str) -> list[str]:
    """Return the defects that the laws draw: all but the filter's loading up, drawn by itself."""
    defects = catalogue.components[component].defects
    if component != FILTER.component:
        return list(defects)
    return [defect for defect in defects if defect != FILTER.defect] or [FILTER.defect]


def _outcomes(law: LifeLaw) -> Floats:
    """Return cumulative chances of renewed, restored, restored otherwise, checked."""
    restored = 1 - law.renew - law.checked
    return np.cumsum([law.renew, 0.8 * restored, 0.2 * restored, law.checked])


def _back_chance(does_not_hold: Flags) -> Floats:
    chance = np.where(does_not_hold, NOT_HOLDING.chance, 0.0)
    chance[:, CHECKED] = NOTHING_DONE.chance
    return chance
