"""The controls that write the Scope into the address; what they hold comes from the address.

Every control has an id of type `scope` with the query word it writes and the value that is left
out of the address; `assets/scope.js` does the rest for all pages.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analytics.scope import CLOCKS, COUNTING_RULES, Scope
from dashboard.wording import Wording

_LEVELS = (0.80, 0.90, 0.95, 0.99)
# Lists open inside the control, so that they stay in reading order for a screen reader.
_IN_PLACE = {"withinPortal": False}


def control_id(word: str, *, default: str = "") -> dict[str, str]:
    """Return the id of the control of one query word."""
    return {"type": "scope", "name": word, "default": default}


def build_picker(component: str, wording: Wording) -> Component:
    """Return the choice of component, found by typing; it writes the path."""
    names = {name: wording.heading("component", name) for name in wording.catalogue.components}
    control: Component = dmc.Select(
        id=control_id("/component"),
        label=wording.phrase("scope.component"),
        data=[
            {"value": name, "label": label}
            for name, label in sorted(names.items(), key=lambda pair: pair[1].casefold())
        ],
        value=component,
        searchable=True,
        clearSearchOnFocus=True,
        allowDeselect=False,
        nothingFoundMessage=wording.phrase("scope.none_found"),
        comboboxProps=_IN_PLACE,
        limit=8,  # a list that scrolls would be out of reach of the keyboard
        withScrollArea=False,
    )
    return control


def build_scope_controls(
    scope: Scope, wording: Wording, *, classes: Sequence[str], depots: Sequence[str], clock: str
) -> Component:
    """Return the controls of a Scope.

    Parameters
    ----------
    scope
        What the address asks for.
    classes, depots
        The names to choose from.
    clock
        The clock that is used when the address names none.
    """
    choices = [
        _several("class", scope.classes, classes, wording),
        _several("depot", scope.depots, depots, wording),
        _one("clock", scope.clock or clock, {c: f"clock.{c}" for c in CLOCKS}, clock, wording),
        _one(
            "counting",
            scope.counting,
            {rule: f"counting_short.{rule}" for rule in COUNTING_RULES},
            "rectified",
            wording,
        ),
        _day("since", scope.since, wording),
        _day("until", scope.until, wording),
        _level(scope.level, wording),
    ]
    return html.Div(choices, className="controls")


def _several(word: str, chosen: Sequence[str], names: Sequence[str], wording: Wording) -> Component:
    control: Component = dmc.MultiSelect(
        id=control_id(word),
        label=wording.phrase(f"scope.{word}"),
        placeholder="" if chosen else wording.phrase(f"scope.{word}_all"),
        data=[{"value": name, "label": wording.label(word, name)} for name in names],
        value=list(chosen),
        comboboxProps=_IN_PLACE,
    )
    return control


def _one(
    word: str, chosen: str, choices: dict[str, str], default: str, wording: Wording
) -> Component:
    control: Component = dmc.Select(
        id=control_id(word, default=default),
        label=wording.phrase(f"scope.{word}"),
        data=[{"value": value, "label": wording.phrase(key)} for value, key in choices.items()],
        value=chosen,
        allowDeselect=False,
        comboboxProps=_IN_PLACE,
    )
    return control


def _day(word: str, chosen: Any, wording: Wording) -> Component:
    control: Component = dmc.DateInput(
        id=control_id(word),
        label=wording.phrase(f"scope.{word}"),
        placeholder=wording.phrase("scope.date_hint"),
        value=chosen.date().isoformat() if chosen else None,
        valueFormat="YYYY-MM-DD",
        clearable=True,
        hideOutsideDates=True,
        popoverProps=_IN_PLACE,
        ariaLabels={
            "previousMonth": wording.phrase("scope.previous_month"),
            "nextMonth": wording.phrase("scope.next_month"),
        },
    )
    return control


def _level(chosen: float, wording: Wording) -> Component:
    levels = sorted({*_LEVELS, chosen})
    control: Component = dmc.Select(
        id=control_id("level", default="0.9"),
        label=wording.phrase("scope.level"),
        data=[{"value": f"{level:g}", "label": f"{100 * level:g}\u00a0%"} for level in levels],
        value=f"{chosen:g}",
        allowDeselect=False,
        comboboxProps=_IN_PLACE,
    )
    return control
