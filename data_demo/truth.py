"""The known truth of the invented railway, to hold answers against."""

from __future__ import annotations

from dataclasses import dataclass

from analytics.catalogue.load import shipped_catalogue
from analytics.catalogue.model import Catalogue
from data_demo.laws import LifeLaw, law_of
from data_demo.scenario import (
    BAD_FACTOR,
    CLASSES,
    FILTER,
    MODIFICATION,
    NOT_HOLDING,
    NOTHING_DONE,
    WEAK_BATCH,
    ComesBack,
    Loading,
    Modification,
    Scenario,
    WeakBatch,
)


@dataclass(frozen=True, slots=True)
class Truth:
    """What the railway was drawn from.

    `laws` is keyed by (component, class), for classes that have the component. They hold for an
    ordinary locomotive: `bad_locomotives` have `bad_factor` times the intensity of defects. The
    filter's own defect is drawn from `filter`, and is not part of its component's law.
    """

    law: str
    laws: dict[tuple[str, str], LifeLaw]
    bad_locomotives: tuple[str, ...]
    bad_factor: float
    weak_batch: WeakBatch
    modification: Modification
    not_holding: ComesBack
    nothing_done: ComesBack
    filter: Loading


def truth(component: str, class_name: str, catalogue: Catalogue | None = None) -> LifeLaw:
    """Return shape, scale and clock (and the rest) of one component's lives in one class.

    Without a catalogue the shipped one is taken.
    """
    return law_of(catalogue or shipped_catalogue(), component, class_name)


def truth_of(scenario: Scenario, catalogue: Catalogue) -> Truth:
    """Return all that is known of a railway drawn from a scenario."""
    return Truth(
        law=scenario.law,
        laws={
            (component, class_name): law_of(catalogue, component, class_name)
            for component in catalogue.components
            for class_name in CLASSES
            if catalogue.positions(class_name, component)
        },
        bad_locomotives=scenario.bad_locomotives(),
        bad_factor=BAD_FACTOR,
        weak_batch=WEAK_BATCH,
        modification=MODIFICATION,
        not_holding=NOT_HOLDING,
        nothing_done=NOTHING_DONE,
        filter=FILTER,
    )
