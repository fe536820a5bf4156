"""The catalogue as arrays: laws by class and component, positions, severities, prices."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analytics.catalogue.model import CLOCKS, Catalogue
from data_demo.arrays import Flags, Floats, Ints
from data_demo.defects import Defects, defects_of
from data_demo.laws import LifeLaw, drawn, law_of
from data_demo.scenario import CLASSES

SEVERITIES = ("remark", "rectify", "withhold", "in-service")
REMARK, RECTIFY, WITHHOLD, IN_SERVICE = range(len(SEVERITIES))


@dataclass(frozen=True, slots=True)
class Parts:
    """One entry per component; axis 0 of `positions`, `scale` and `renewed_at` is the class.

    `severity` holds cumulative chances, shape (components, 4); `view` says which of the sets of
    kinds of inspection in `views` sees the component.
    """

    names: tuple[str, ...]
    clock: Ints
    shape: Floats
    renew: Floats
    season: Floats
    safety: Flags
    serials: Flags
    unit: Flags
    view: Ints
    views: tuple[tuple[str, ...], ...]
    severity: Floats
    price: Floats
    positions: Ints
    scale: Floats
    renewed_at: Floats
    defects: Defects

    def index(self, component: str) -> int:
        """Return the component's place, -1 where the catalogue does not have it."""
        return self.names.index(component) if component in self.names else -1


def parts_of(catalogue: Catalogue) -> Parts:
    """Lay the catalogue and the laws out as arrays, in the order of the catalogue."""
    names = tuple(catalogue.components)
    entries = list(catalogue.components.values())
    by_class = [[law_of(catalogue, name, class_name) for name in names] for class_name in CLASSES]
    laws = by_class[0]  # the classes differ in scale and age of renewal alone
    views = tuple(dict.fromkeys(entry.seen_by for entry in entries))
    severity = [_severity(law, safety=e.safety) for law, e in zip(laws, entries, strict=True)]
    return Parts(
        names=names,
        clock=np.array([CLOCKS.index(law.clock) for law in laws]),
        shape=np.array([law.shape for law in laws]),
        renew=np.array([law.renew for law in laws]),
        season=np.array([law.season for law in laws]),
        safety=np.array([entry.safety for entry in entries]),
        serials=np.array([law.serials for law in laws]),
        unit=np.array([law.unit for law in laws]),
        view=np.array([views.index(entry.seen_by) for entry in entries]),
        views=views,
        severity=np.array(severity),
        price=np.array([_price(name, law) for name, law in zip(names, laws, strict=True)]),
        positions=np.array([[catalogue.positions(c, name) for name in names] for c in CLASSES]),
        scale=np.array([[law.scale for law in laws] for laws in by_class]),
        renewed_at=np.array([[law.renewed_at or np.inf for law in laws] for laws in by_class]),
        defects=defects_of(catalogue, laws),
    )


def _severity(law: LifeLaw, *, safety: bool) -> Floats:
    """Return cumulative chances of remark, rectify, withhold, in-service."""
    at_depot = 1 - law.in_service
    remark, withhold = (0.12, 0.2) if safety else (0.33, 0.07)
    return np.cumsum(
        [at_depot * remark, at_depot * (1 - remark - withhold), at_depot * withhold, law.in_service]
    )


def _price(component: str, law: LifeLaw) -> float:
    """Return the price of a new part: 20 to 1,200, twelve times that for a whole unit."""
    price = 20 * math.pow(60, drawn(f"price {component}"))
    return price * 12 if law.unit else price
