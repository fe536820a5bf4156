"""The controls that write the Scope into the address; what they hold comes from the address.

Every control has an id of type `scope` with the query word it writes and the value that is left
out of the address; `assets/scope.js` does the rest for all pages.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import dash_mantine_components as dmc
from dash.development.base_component import Component

from analytics.scope import CLOCKS, COUNTING_RULES, OPTION_OF, Scope
from dashboard.wording import Wording

_LEVELS = (0.80, 0.90, 0.95, 0.99)
# Lists open inside the control, so that they stay in reading order for a screen reader.
_IN_PLACE = {"withinPortal": False}
_FEW = 8
# A list that scrolls would be out of reach of the keyboard.
_SHORT_LIST: dict[str, Any] = {"limit": _FEW, "withScrollArea": False}


def control_id(word: str, *, default: str = "") -> dict[str, str]:
    """Return the id of the control of one query word."""
    return {"type": "scope", "name": word, "default": default}


def build_picker(kind: str, name: str, names: Sequence[str], wording: Wording) -> Component:
    """Return the choice of what the page is about, found by typing; it writes the path."""
    labels = {known: wording.heading(kind, known) for known in names}
    control: Component = dmc.Select(
        id=control_id(f"/{kind}"),
        label=wording.phrase(f"scope.pick_{kind}"),
        data=[
            {"value": known, "label": label}
            for known, label in sorted(labels.items(), key=lambda pair: pair[1].casefold())
        ],
        value=name,
        searchable=True,
        clearSearchOnFocus=True,
        allowDeselect=False,
        nothingFoundMessage=wording.phrase("scope.none_found"),
        comboboxProps=_IN_PLACE,
        **_SHORT_LIST,
    )
    return control


def build_scope_controls(
    scope: Scope, wording: Wording, *, names: Mapping[str, Sequence[str]], clock: str
) -> list[Component]:
    """Return the controls of a Scope.

    Parameters
    ----------
    scope
        What the address asks for.
    names
        The names to choose from, by the word of their filter.
    clock
        The clock that is used when the address names none.
    """
    field_of = {word: field for field, word in OPTION_OF.items()}
    rules = {rule: wording.phrase(f"counting_short.{rule}") for rule in COUNTING_RULES}
    clocks = {name: wording.phrase(f"clock.{name}") for name in CLOCKS}
    levels = {f"{level:g}": f"{100 * level:g}\u00a0%" for level in {*_LEVELS, scope.level}}
    return [
        *(
            _several(word, getattr(scope, field_of[word]), known, wording)
            for word, known in names.items()
        ),
        _one("clock", scope.clock or clock, clocks, wording, default=clock),
        _one("counting", scope.counting, rules, wording, default="rectified"),
        _day("since", scope.since, wording),
        _day("until", scope.until, wording),
        _one("level", f"{scope.level:g}", dict(sorted(levels.items())), wording, default="0.9"),
    ]


def build_choice(word: str, chosen: str, offered: Sequence[str], wording: Wording) -> Component:
    """Return the control of one option of a section; the first value offered is the default."""
    values = list(dict.fromkeys([*offered, chosen or offered[0]]))
    labels = {value: wording.phrase_or(f"{word}.{value}", value) for value in values}
    return _one(word, chosen or offered[0], labels, wording, default=offered[0])


def _several(word: str, chosen: Sequence[str], names: Sequence[str], wording: Wording) -> Component:
    control: Component = dmc.MultiSelect(
        id=control_id(word),
        label=wording.phrase(f"scope.{word}"),
        placeholder="" if chosen else wording.phrase(f"scope.{word}_all"),
        data=[{"value": name, "label": wording.label(word, name)} for name in names],
        value=list(chosen),
        searchable=len(names) > _FEW,
        nothingFoundMessage=wording.phrase("scope.none_found"),
        comboboxProps=_IN_PLACE,
        **_SHORT_LIST,
    )
    return control


def _one(
    word: str, chosen: str, labels: Mapping[str, str], wording: Wording, *, default: str
) -> Component:
    control: Component = dmc.Select(
        id=control_id(word, default=default),
        label=wording.phrase(f"scope.{word}"),
        data=[{"value": value, "label": label} for value, label in labels.items()],
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
