"""Array types and small helpers that the simulation shares."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]
Columns = dict[str, NDArray[Any]]  # arrays of one length by name

DAY = 86_400.0
MINUTE = 60.0
HOUR = 3_600.0
SPAN = 1e9  # seconds set apart for one locomotive in a key (locomotive, second): 31 years
NOT_ON_RECORD = 9e8  # an instant after any record, still inside the span


def pick(chances: Floats, rng: np.random.Generator) -> Ints:
    """Draw one column for each row of cumulative chances, shape (n, choices)."""
    below = rng.random(len(chances))[:, None] >= chances[:, :-1]
    return np.asarray(below.sum(axis=1), dtype=np.int64)


def by_minute(seconds: Floats) -> Floats:
    """Round instants up to whole minutes, as they are written."""
    return np.asarray(np.ceil(seconds / MINUTE) * MINUTE)
