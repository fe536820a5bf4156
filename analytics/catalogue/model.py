"""The catalogue in memory: what can be inspected, what can be done about it, what is measured."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from analytics.errors import CatalogueError, unknown_name

CLOCKS = ("hours", "km", "days")
EFFECTS = ("renew", "restore", "checked", "defer")
INSPECTION_KINDS = ("daily", "workshop", "en-route")
RUNNING_STATES = ("stopped", "idle", "rated")
ANY_STATE = "any"

Row = dict[str, str | int | float | bool | None]


@dataclass(frozen=True, slots=True)
class Term:
    """A word that needs nothing but labels: a defect or a system."""

    name: str
    labels: dict[str, str]


@dataclass(frozen=True, slots=True)
class LocomotiveClass:
    """One class of locomotives; `positions` holds only the components it overrides (0 = none)."""

    name: str
    positions: dict[str, int]
    max_hours_per_day: float | None
    max_km_per_day: float | None
    labels: dict[str, str]


@dataclass(frozen=True, slots=True)
class Component:
    """One kind of part: the clock that wears it and the defects it can show."""

    name: str
    system: str
    clock: str
    positions: int
    defects: tuple[str, ...]
    in_service: bool
    seen_by: tuple[str, ...]
    safety: bool
    labels: dict[str, str]


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done about a defect; only its effect counts, never its name."""

    name: str
    effect: str
    labels: dict[str, str]


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds of the good range in the parameter's unit; a value equal to a bound is still good."""

    above: float | None
    below: float | None

    def passed_by(self, value: float) -> bool:
        """Tell whether `value` (in the parameter's unit) lies outside the bounds."""
        too_high = self.above is not None and value > self.above
        too_low = self.below is not None and value < self.below
        return too_high or too_low


@dataclass(frozen=True, slots=True)
class Parameter:
    """One measured value; `attend` and `withhold` hold limits by running state, or under `any`."""

    name: str
    unit: str
    component: str | None
    reset_by: tuple[str, ...]
    attend: dict[str, Limit]
    withhold: dict[str, Limit]
    physical_min: float | None
    physical_max: float | None
    labels: dict[str, str]

    def attend_limit(self, running_state: str | None) -> Limit | None:
        """Return the limit to attend to: the state's own, else the one for any state."""
        return self.attend.get(running_state or ANY_STATE, self.attend.get(ANY_STATE))

    def withhold_limit(self, running_state: str | None) -> Limit | None:
        """Return the limit to withhold at: the state's own, else the one for any state."""
        return self.withhold.get(running_state or ANY_STATE, self.withhold.get(ANY_STATE))


Entry = LocomotiveClass | Component | Action | Parameter | Term


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything a depot's files may name, keyed by name, in the order of the files.

    `fingerprint` is the SHA-256 (hex) of the content: order, comments, layout, the files it is
    spread over and defaults written out do not change it; a label does.
    """

    classes: dict[str, LocomotiveClass]
    components: dict[str, Component]
    actions: dict[str, Action]
    parameters: dict[str, Parameter]
    defects: dict[str, Term]
    systems: dict[str, Term]
    first_life_grace_days: int = 31
    fingerprint: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fingerprint", _fingerprint(self))

    def positions(self, class_name: str, component: str) -> int:
        """Return how many positions of `component` each locomotive of a class has (0 = none).

        Raises
        ------
        CatalogueError
            The class or the component is not in the catalogue.
        """
        if class_name not in self.classes:
            raise CatalogueError(unknown_name("class", class_name, self.classes))
        if component not in self.components:
            raise CatalogueError(unknown_name("component", component, self.components))
        default = self.components[component].positions
        return self.classes[class_name].positions.get(component, default)

    def label(self, kind: str, name: str, language: str = "en") -> str:
        """Return the words a reader sees for a name, in one language.

        Falls back to the English label, then to the name itself, also for a name the catalogue
        does not hold (a store may remember one that has since been taken out).

        Parameters
        ----------
        kind : str
            class, component, action, parameter, defect or system.
        name : str
            The name as written in the catalogue.
        language : str
            A language code such as "en" or "hu".
        """
        kinds = self.by_kind()
        if kind not in kinds:
            raise CatalogueError(unknown_name("kind of name", kind, kinds))
        entry = kinds[kind].get(name)
        labels = entry.labels if entry else {}
        return labels.get(language) or labels.get("en") or name

    def by_kind(self) -> dict[str, Mapping[str, Entry]]:
        """Return the entries by kind (class, component, action, parameter, defect, system)."""
        return {
            "class": self.classes,
            "component": self.components,
            "action": self.actions,
            "parameter": self.parameters,
            "defect": self.defects,
            "system": self.systems,
        }

    def tables(self) -> dict[str, list[Row]]:
        """Return the catalogue as plain rows for the store, one list of rows per table.

        `class_component` has a row for every class and component, also where positions are 0.
        Absent limits are None. Labels are left out: words are made at the edge, by `label`.
        """
        components, parameters = self.components.values(), self.parameters.values()
        return {
            "component": [
                _row("component", c, "system", "clock", "in_service", "safety") for c in components
            ],
            "component_defect": [
                {"component": c.name, "defect": defect} for c in components for defect in c.defects
            ],
            "component_seen_by": [
                {"component": c.name, "kind": kind} for c in components for kind in c.seen_by
            ],
            "class_component": [
                {"class": name, "component": c.name, "positions": self.positions(name, c.name)}
                for name in self.classes
                for c in components
            ],
            "class_limit": [
                _row("class", c, "max_hours_per_day", "max_km_per_day")
                for c in self.classes.values()
            ],
            "action": [_row("action", action, "effect") for action in self.actions.values()],
            "parameter": [
                _row("parameter", p, "unit", "component", "physical_min", "physical_max")
                for p in parameters
            ],
            "parameter_reset": [
                {"parameter": p.name, "action": action} for p in parameters for action in p.reset_by
            ],
        }


def _row(heading: str, entry: Entry, *keys: str) -> Row:
    """Make one row: the entry's name under the heading, then what is asked for, by its own name."""
    return {heading: entry.name, **{key: getattr(entry, key) for key in keys}}


def _fingerprint(catalogue: Catalogue) -> str:
    content: dict[str, object] = {"first_life_grace_days": catalogue.first_life_grace_days}
    for kind, entries in catalogue.by_kind().items():
        content[kind] = {name: _order_free(asdict(entry)) for name, entry in entries.items()}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def _order_free(entry: dict[str, Any]) -> dict[str, Any]:
    """Sort the lists of names of one entry: their order carries no meaning for any figure."""
    return {k: sorted(v) if isinstance(v, tuple) else v for k, v in entry.items()}
