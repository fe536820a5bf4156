"""What the sections share: group labels, table twins, the basis in words, the same command."""

from __future__ import annotations

import math
import shlex
from collections.abc import Collection, Mapping, Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd

from analytics.answer import Basis, Message
from analytics.scope import GROUPS, OPTION_OF, Scope
from dashboard.sections.model import Grounds, Table
from dashboard.wording import Wording, shown

RATE_PER = {"hours": 1_000, "km": 100_000, "days": 30}
"""A rate in words is per so many units of its clock."""

_TEXTS = ("note", "last_action", "group", "against")  # names of the catalogue occur in them
_LEAST_P = 0.001
# Times that nobody needs to the minute: one decimal, none from here on.
_ROUGH = ("age_days", "gap_days", "down_hours", "hours", "down_days", "lost_days", "lost_hours")
_WHOLE_FROM = 10
_FEW_NAMES = 5
_THEN = "\u203a"
# What an option is called there, where its name here would hide one of Python's own.
_OPTION_OF = {"as_list": "list", "all_charts": "all", "weekly": "weeks", "version": "show"}
_COMMAND_OF = {"set_aside": ("rejects", "--list")}
_OF_ALL = ("set_aside",)  # no Scope applies, and the command takes none
_TOLD_ELSEWHERE = {"clock", "level"}  # in the basis


def group_columns(frame: pd.DataFrame) -> list[str]:
    """Return the columns that name the group of a row."""
    return [column for column in frame.columns if column in GROUPS]


def group_label(row: Mapping[str, Any], columns: Sequence[str], wording: Wording) -> str:
    """Return the words for one row's group; the pooled row has the words for all."""
    if not columns:
        return wording.phrase("group.all")
    return ", ".join(named(column, row[column], wording) for column in columns)


def named(column: str, value: Any, wording: Wording) -> str:
    """Show the name of a group; one without a name is not stated."""
    if pd.isna(value):
        return wording.phrase("group.not_stated")
    return cell(column, value, wording)


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as mappings from column to value."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def cell(column: str, value: Any, wording: Wording, *, share: bool = False) -> str:
    """Show one value of an answer's table."""
    if isinstance(value, Message):
        return wording.say(value)
    if value is None or pd.isna(value):
        return shown(None)
    if isinstance(value, str):
        return _text(column, value, wording)
    if column == "month" and isinstance(value, date):
        return f"{value:%Y-%m}"
    plain = value.item() if isinstance(value, np.generic) else value
    if isinstance(plain, bool):
        return wording.phrase("table.yes" if plain else "table.no")
    if isinstance(plain, float) and 0 <= plain < _LEAST_P and column.split("_")[-1] in ("p", "q"):
        return wording.phrase("table.below", least=_LEAST_P)
    if column in _ROUGH and isinstance(plain, float):
        plain = round(plain, 1 if plain < _WHOLE_FROM else 0)
    return percent(float(plain)) if share else shown(plain)


def _text(column: str, value: str, wording: Wording) -> str:
    if column == "actions":
        unwritten = wording.phrase("table.unwritten")
        done = (unwritten if x == "?" else wording.label("action", x) for x in value.split(" > "))
        return f" {_THEN} ".join(done)
    if column == "locomotives":
        return _first_of(value.split(", "))
    if column == "clock":
        return wording.phrase(f"unit.{value}")
    return wording.relabel(value) if column in _TEXTS else wording.label(column, value)


def twin(
    frame: pd.DataFrame,
    columns: Sequence[str],
    *,
    clock: str,
    shares: Collection[str] = (),
    opened: bool = False,
) -> Table | None:
    """Keep the columns of an answer's table that a section shows; None where it has no rows.

    `shares` names columns shown in per cent; `opened` a table that stands in place of a figure.
    Rows on several clocks each say their own.
    """
    if frame.empty:
        return None
    own = [str(one) for one in frame["clock"].dropna().unique()] if "clock" in frame else []
    if len(own) == 1:
        clock = own[0]
    told = _TOLD_ELSEWHERE if len(own) < 2 else _TOLD_ELSEWHERE - {"clock"}
    shown = [c for c in columns if c in frame and c not in told]
    return Table(frame[shown], "own" if len(own) > 1 else clock, frozenset(shares), opened)


def grounds(basis: Basis, wording: Wording, *, of: str = "failures") -> Grounds:
    """Put what a figure rests on into words; `of` is what the basis counts as events."""
    events = wording.phrase(f"counted.{of}", count=basis.events)
    summary = wording.phrase("basis.summary", events=events, locomotives=basis.locomotives)
    parts = (
        wording.phrase(f"counting.{basis.counting}"),
        wording.phrase(f"clock.{basis.clock}"),
        period(basis, wording),
        *filters(basis, wording).values(),
        wording.phrase("basis.locomotives", count=basis.locomotives),
        *_amounts(basis, wording, events),
        *_left_out(basis, wording),
        wording.phrase("basis.method", method=basis.method, level=percent(basis.level)),
        wording.phrase("basis.data_cut", at=basis.data_cut),
        wording.phrase("basis.fingerprint", fingerprint=basis.fingerprint),
    )
    return Grounds(summary, parts)


def period(basis: Basis | Scope, wording: Wording) -> str:
    """Say the period of a basis or a Scope."""
    if basis.since and basis.until:
        return wording.phrase("period.between", since=basis.since, until=basis.until)
    if basis.since:
        return wording.phrase("period.since", since=basis.since)
    if basis.until:
        return wording.phrase("period.until", until=basis.until)
    return wording.phrase("period.all")


def _first_of(names: Sequence[str]) -> str:
    """List the first few names; the files that can be taken along have all of them."""
    more = [f"\u2026 ({len(names)})"] if len(names) > _FEW_NAMES else []
    return ", ".join([*names[:_FEW_NAMES], *more])


def percent(value: float) -> str:
    r"""Show a share in per cent, one decimal below 10 %.

    >>> percent(0.9), percent(0.0421), percent(float("nan"))
    ('90\xa0%', '4.2\xa0%', '–')
    """
    if math.isnan(value):
        return shown(value)
    decimals = 1 if 0 < value < 0.0995 else 0
    return f"{100 * value:.{decimals}f}\u00a0%"


def command_line(question: str, options: Mapping[str, Any], scope: Scope) -> str:
    """Return the command that prints the same table."""
    words = ["shedbook", *_COMMAND_OF.get(question, (question,))]
    for name, value in options.items():
        option = f"--{_OPTION_OF.get(name, name).replace('_', '-')}"
        if isinstance(value, bool):
            words += [option] if value else []
        else:
            words += [option, ",".join(value) if isinstance(value, tuple) else str(value)]
    asked = [] if question in _OF_ALL else scope.to_options()
    return shlex.join([*words, *asked])


def filters(asked: Basis | Scope, wording: Wording, *, told: str = "") -> dict[str, str]:
    """Say each filter of a basis or a Scope, by its word; `told` is a field named elsewhere."""
    parts = {}
    for field, word in OPTION_OF.items():
        names = asked.filters.get(field, ()) if isinstance(asked, Basis) else getattr(asked, field)
        if names and field != told:
            listed = ", ".join(wording.label(word, name) for name in names)
            parts[word] = wording.phrase(f"filter.{word}", names=listed)
    return parts


def _amounts(basis: Basis, wording: Wording, events: str) -> list[str]:
    unit = wording.phrase(f"unit.{basis.clock}")
    parts = []
    if not math.isnan(basis.exposure):
        parts.append(wording.phrase("basis.exposure", exposure=basis.exposure, unit=unit))
    parts.append(events)
    if basis.censored:
        parts.append(wording.phrase("basis.censored", count=basis.censored))
    return parts


def _left_out(basis: Basis, wording: Wording) -> list[str]:
    return [
        wording.phrase(f"left_out.{reason}", count=count)
        for reason, count in basis.left_out.items()
        if count
    ]
