"""Text that a spreadsheet would take for a formula, made harmless.

A cell that begins with = + - @, a tab or a return runs as a formula when a CSV file is opened. Text
that does gets an apostrophe before it, which intake takes off again; numbers stay numbers.
"""

from __future__ import annotations

import pandas as pd

SIGN = "'"
_STARTS = ("=", "+", "-", "@", "\t", "\r")


def neutralise(frame: pd.DataFrame) -> pd.DataFrame:
    """Return the frame with the text of its object columns made harmless."""
    changed = {
        column: frame[column].map(_harmless)
        for column in frame.columns
        if not pd.api.types.is_numeric_dtype(frame[column])
    }
    return frame.assign(**changed)


def _harmless(value: object) -> object:
    if isinstance(value, str) and value.startswith(_STARTS):
        return SIGN + value
    return value
