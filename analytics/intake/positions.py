"""What a position cell means: a number, `all`, a list, ranges (`1-6; 8`)."""

from __future__ import annotations

import re

_RANGE = re.compile(r"(\d{1,6})(?:\.0+)?(?:\s*[-\u2013]\s*(\d{1,6}))?")
ALL = "all"


def read_position(written: str, places: int) -> tuple[str | None, str | None]:
    """Return the position as the facts keep it, or why it cannot be read.

    Parameters
    ----------
    written
        The cell, outer blanks cut: a number, `all`, or numbers and ranges set apart by `;` or `,`.
    places
        How many of the component each locomotive of the class has, 1 or more.

    Returns
    -------
    tuple
        (position, None) or (None, reason). A position is `all`, or ascending numbers and ranges
        such as `1-6;8`: one spelling for one meaning, so that keys compare.

    Examples
    --------
    >>> read_position("8; 1-6", 16), read_position("03", 16), read_position("7", 6)[0]
    (('1-6;8', None), ('3', None), None)
    """
    if written.casefold() == ALL:
        return ALL, None
    numbers: set[int] = set()
    for part in re.split(r"[;,]", written):
        found = _RANGE.fullmatch(part.strip())
        if not found:
            return None, _unreadable(written)
        first, last = int(found[1]), int(found[2] or found[1])
        if first > last:
            return None, f"position {written[:60]!r} runs backwards: write {last}-{first}."
        if first < 1 or last > places:
            return None, _outside(written, places)
        numbers.update(range(first, last + 1))
    return _spell(sorted(numbers)), None


def _unreadable(written: str) -> str:
    return (
        f"position {written[:60]!r} cannot be read: write a number, a list or ranges such as "
        "1-6; 8, or all."
    )


def _outside(written: str, places: int) -> str:
    allowed = "only position 1" if places == 1 else f"positions 1 to {places}"
    return f"position {written[:60]!r} does not exist: the catalogue gives this class {allowed}."


def _spell(numbers: list[int]) -> str:
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][1] + 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ";".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)
