"""Each group's windows of observation on the clock, and the failures that fell into them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, text_of
from analytics.answers.groups import TIME_WORDS, Key, cells, each_group, events

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Windows:
    """Windows of one group's locomotives in h, km or days, and its failures in them.

    `start` and `end` count from an arbitrary zero, `entry_age` and `exit_age` from the entry into
    service: NaN where the clock is not known there. `places` is how many positions the locomotive
    has in the group. `failure_window` is each failure's window, as an index of the other arrays.
    """

    start: FloatArray
    end: FloatArray
    entry_age: FloatArray
    exit_age: FloatArray
    unit: NDArray[Any]
    places: FloatArray
    in_service_to: NDArray[np.datetime64]
    failure_window: IntArray
    failure_at: FloatArray
    failure_age: FloatArray

    @property
    def ages_known(self) -> bool:
        """Whether every window has an age."""
        return bool(np.isfinite(self.entry_age).all())

    def with_ages(self) -> Windows:
        """Return the windows whose age is known, and the failures in them."""
        known = np.isfinite(self.entry_age)
        kept = known[self.failure_window]
        place = np.cumsum(known) - 1
        by_window = ("start", "end", "entry_age", "exit_age", "unit", "places", "in_service_to")
        return replace(
            self,
            **{name: getattr(self, name)[known] for name in by_window},
            failure_window=place[self.failure_window[kept]],
            failure_at=self.failure_at[kept],
            failure_age=self.failure_age[kept],
        )


@dataclass(frozen=True, slots=True)
class Case:
    """One group: its cells, how many failures it counts, its windows."""

    key: Key
    cells: pd.DataFrame
    failures: pd.DataFrame
    windows: Windows


def cases(ground: Ground, by: Sequence[str], *, stated: bool = False) -> Iterator[Case]:
    """Walk the groups of `asked_exposure` and `asked_episode` in order; see `groups.events`."""
    observed = _observed(ground, by)
    failed = _placed(events(ground, by, stated=stated), observed)
    for key, part, (failures,) in each_group(cells(ground, by), by, failed):
        kept = _chosen(observed, by, key, part["unit"])
        yield Case(key, part, failures, _windows(ground, observed, kept, part, failures))


def _observed(ground: Ground, by: Sequence[str]) -> pd.DataFrame:
    """Return the windows of each locomotive: time words of `by`, unit, start, stop in ticks."""
    words = [word for word in TIME_WORDS if word in by and word != "locomotive"]
    service = "epoch_us(in_service_from)" if ground.clock == "days" else f"service_{ground.clock}"
    query = text_of("window.sql").format(words=", ".join([*words, "locomotive"]), service=service)
    return ground.rows(query).rename(columns={"locomotive": "unit"})


def _placed(failed: pd.DataFrame, observed: pd.DataFrame) -> pd.DataFrame:
    """Add to each failure the row of its window, -1 where it fell into none."""
    if failed.empty or observed.empty:
        return failed.assign(window=-1)
    shared = [word for word in TIME_WORDS if word in observed]
    joined = pd.merge_asof(
        failed.assign(order=range(len(failed))).sort_values("tick", kind="stable"),
        observed.assign(window=range(len(observed))).sort_values("start", kind="stable"),
        left_on="tick",
        right_on="start",
        by=[*shared, "unit"],
    ).sort_values("order")
    inside = joined["window"].notna() & (joined["tick"] <= joined["stop"])
    return failed.assign(window=joined["window"].where(inside, -1).astype("int64").to_numpy())


def _chosen(
    observed: pd.DataFrame, by: Sequence[str], key: Key, units: pd.Series[str]
) -> IntArray:
    """Return the rows of one group's windows."""
    kept = observed["unit"].isin(units).to_numpy()
    for word, value in zip(by, key, strict=True):
        if word in observed:
            kept &= (observed[word] == value).to_numpy()
    return np.flatnonzero(kept).astype(np.int64)


def _windows(
    ground: Ground,
    observed: pd.DataFrame,
    kept: IntArray,
    part: pd.DataFrame,
    failures: pd.DataFrame,
) -> Windows:
    rows, scale = observed.iloc[kept], TICKS[ground.clock]
    seen = failures[failures["window"].isin(kept)]
    window = np.searchsorted(kept, seen["window"].to_numpy()).astype(np.int64)
    # Whole ticks are subtracted first: microseconds since 1970 do not fit a float exactly.
    start, stop, tick = (
        column.to_numpy(dtype=np.int64) for column in (rows["start"], rows["stop"], seen["tick"])
    )
    zero = rows["service_tick"].fillna(0).to_numpy(dtype=np.int64)
    blank = np.where(rows["service_tick"].isna(), np.nan, 0.0)
    first = start.min(initial=np.iinfo(np.int64).max) if start.size else 0
    return Windows(
        start=(start - first) / scale,
        end=(stop - first) / scale,
        entry_age=(start - zero) / scale + blank,
        exit_age=(stop - zero) / scale + blank,
        unit=rows["unit"].to_numpy(),
        places=rows["unit"].map(part.set_index("unit")["places"]).to_numpy(dtype=np.float64),
        in_service_to=rows["in_service_to"].to_numpy(),
        failure_window=window,
        failure_at=(tick - first) / scale,
        failure_age=(tick - zero[window]) / scale + blank[window],
    )
