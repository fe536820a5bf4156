"""Small helpers that turn columns of numbers into columns of words and dates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
import pandas as pd

from data_demo.arrays import DAY, Flags, Floats, Ints


def dates(first_day: date, seconds: Floats) -> pd.Series[pd.Timestamp]:
    """Return instants of seconds since the first day; infinity becomes empty."""
    known = np.isfinite(seconds)
    whole = np.where(known, seconds, 0).astype(np.int64)
    instants = np.datetime64(first_day, "s") + whole.astype("timedelta64[s]")
    return pd.Series(instants).where(pd.Series(known))


def day_dates(first_day: date, days: Ints | Floats) -> pd.Series[pd.Timestamp]:
    """Return midnights of days since the first day; infinity becomes empty."""
    return dates(first_day, np.asarray(days, dtype=np.float64) * DAY)


def words(names: Sequence[str], codes: Ints, blank: Flags | None = None) -> pd.Categorical[str]:
    """Return names by place; empty where `blank`, or where the place is -1."""
    if blank is not None:
        codes = np.where(blank, -1, codes)
    return pd.Categorical.from_codes(codes, categories=pd.Index(list(names)))


def numbered(prefix: pd.Series[str], number: Ints, width: int) -> pd.Series[str]:
    """Return texts such as HX000123."""
    return prefix + pd.Series(number).astype(str).str.zfill(width)


def whole(values: Ints, blank: Flags) -> pd.arrays.IntegerArray:
    """Return whole numbers, empty where `blank`."""
    return pd.arrays.IntegerArray(np.asarray(values, dtype=np.int64), np.asarray(blank))


def running_number(group: Ints) -> Ints:
    """Return 1, 2, ... within each group, in the order given."""
    return np.asarray(pd.Series(group).groupby(group).cumcount().to_numpy() + 1)


def distinct(names: Sequence[str], codes: Ints) -> tuple[list[str], Ints]:
    """Return the names without doubles, and the places in them."""
    found, place = np.unique(np.array(names), return_inverse=True)
    return [str(name) for name in found], place[codes]
