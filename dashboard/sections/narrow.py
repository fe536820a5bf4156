"""How sections cut a page's Scope, and how they read their options from an address."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from analytics.answers.look_back import LookBack
from analytics.answers.standouts import RANKS
from analytics.planning.versions import Versions
from analytics.scope import Scope
from dashboard.record import Record

_WEEK = timedelta(days=7)
_MOST_VERSIONS = 8  # that a control lists; the address may name any


def to_last_week(scope: Scope, record: Record) -> Scope:
    """Keep the seven days before the record ends, or before the period does."""
    end = _end(scope, record)
    return replace(scope, since=max(scope.since or datetime.min, end - _WEEK)) if end else scope


def to_any_start(scope: Scope, _record: Record) -> Scope:
    """Drop the begin of the period: a span sets its own."""
    return replace(scope, since=None)


def to_class(scope: Scope, record: Record) -> Scope:
    """Widen from one locomotive to all of its class."""
    classes = {record.entries[name].class_name for name in scope.locomotives}
    return replace(scope, classes=tuple(sorted(classes)), locomotives=())


def read_window(text: str) -> str:
    """Read `30d`, `500h` or `2000km`.

    Raises
    ------
    ScopeError
        For anything else.
    """
    LookBack.read(text)
    return text


def read_yes(text: str) -> bool:
    """Read `yes` or `no`.

    Raises
    ------
    ValueError
        For anything else.
    """
    if text not in ("yes", "no"):
        raise ValueError(text)
    return text == "yes"


def read_against(text: str) -> dict[str, str]:
    """Read what to compare: `depot`, `class`, a date, or `modification:NAME`.

    Raises
    ------
    ValueError
        For anything else.
    """
    if text in ("depot", "class"):
        return {"between": text}
    word, _, name = text.partition(":")
    if word == "modification" and name:
        return {"modification": name}
    return {"at": datetime.fromisoformat(text).isoformat()}


def read_rank(text: str) -> str:
    """Read the order of what stands out.

    Raises
    ------
    ValueError
        For a word that is none.
    """
    if text not in RANKS:
        raise ValueError(text)
    return text


def read_positive(text: str) -> float:
    """Read a number above 0.

    Raises
    ------
    ValueError
        For anything else.
    """
    number = float(text)
    if not 0 < number < math.inf:
        raise ValueError(text)
    return number


def read_amount(text: str) -> float:
    """Read a number, 0 or above.

    Raises
    ------
    ValueError
        For anything else.
    """
    number = float(text)
    if not 0 <= number < math.inf:
        raise ValueError(text)
    return number


def read_other(text: str) -> dict[str, int]:
    """Read the version that a plan is held against: a number, or `before` for its own choice.

    Raises
    ------
    ValueError
        For anything else.
    """
    return {} if text == "before" else {"other": int(text)}


def plan_versions(folder: Path) -> tuple[str, ...]:
    """Return the numbers of the latest versions of a store's berth plan, newest first."""
    latest = Versions(folder).latest() or 0
    return tuple(str(number) for number in range(latest, max(latest - _MOST_VERSIONS, 0), -1))


def _end(scope: Scope, record: Record) -> datetime | None:
    """Return where the record in scope ends: the night after its last day, or the period's end."""
    known = [
        one.known_to
        for name, one in record.entries.items()
        if one.known_to
        and (not scope.locomotives or name in scope.locomotives)
        and (not scope.classes or one.class_name in scope.classes)
        and (not scope.depots or one.depot in scope.depots)
    ]
    if not known:
        return None
    midnight = max(known).replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    return min(midnight, scope.until) if scope.until else midnight
