"""Everything shedbook raises on purpose.

ShedbookError
├── CatalogueError   a catalogue file cannot be used (names the table, the key, the line)
├── InputError       a file handed in cannot be used at all; nothing was written
├── ScopeError       a filter, period, clock or name that does not exist
├── StoreError       the store folder is missing, broken, newer than this program
│   ├── NoStore      there is no store in the folder named
│   └── StoreBusy    another process is writing and did not finish in the time given
├── EstimateError    arrays that no estimator can accept (negative exposure, exit before entry)
└── PlanError        inputs of a plan that cannot be used, limits that no plan can keep

Every message is one sentence or two: what was expected, what came, where, what to do.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


class ShedbookError(Exception):
    """Something shedbook can explain in a sentence; the command line prints it and exits."""

    exit_code = 1


class CatalogueError(ShedbookError):
    """A catalogue file cannot be used; the message names the table and key as written."""

    exit_code = 2


class InputError(ShedbookError):
    """A file handed in cannot be used at all; nothing of the call was written."""

    exit_code = 2


class ScopeError(ShedbookError):
    """A filter, period, clock or name asked for does not exist; the message lists what does."""

    exit_code = 2


class StoreError(ShedbookError):
    """The store folder is missing, damaged, or written by a newer program."""


class NoStore(StoreError):
    """There is no store in the folder named: wrong use, nothing is broken."""

    exit_code = 2


class StoreBusy(StoreError):
    """Another process is writing to the store and did not finish within the time given."""


class EstimateError(ShedbookError):
    """Arrays that no estimator can accept, such as a negative exposure or an exit before entry."""


class PlanError(ShedbookError):
    """Inputs of a plan that cannot be used (one line a row), or limits that no plan can keep."""

    exit_code = 2


def nearest(name: str, known: Iterable[str], *, most: int = 3) -> list[str]:
    """Return up to `most` known names that look like `name`, best first (case is ignored)."""
    by_folded = {candidate.casefold(): candidate for candidate in known}
    found = get_close_matches(name.casefold(), by_folded, n=most, cutoff=0.5)
    return [by_folded[folded] for folded in found]


def unknown_name(kind: str, name: str, known: Iterable[str]) -> str:
    """Say that a name is unknown, with the nearest known ones (or the first few of all)."""
    names = sorted(known)
    close = nearest(name, names)
    if close:
        return f"{kind} {name!r} is not known; nearest: {', '.join(close)}."
    listed = ", ".join(names[:8]) + (", …" if len(names) > 8 else "")
    return f"{kind} {name!r} is not known; known: {listed or 'none'}."
