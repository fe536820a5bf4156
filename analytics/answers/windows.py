"""Each group's windows of observation on the clock, and the failures that fell into them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

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
    service: NaN where the clock is not known there. `unit` is a number for each locomotive and
    `places` how many positions it has in the group. `failure_window` is each failure's window, as
    an index of the other arrays.
    """

    start: FloatArray
    end: FloatArray
    entry_age: FloatArray
    exit_age: FloatArray
    unit: IntArray
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
    """One group: exposure and failures of each of its locomotives, and its windows.

    `exposure` is in h, km or days (0 where the clock is not known), `failures` their counts;
    `failed_unit` the locomotive's number in `windows.unit` of each failure.
    """

    key: Key
    exposure: FloatArray
    failures: IntArray
    failed_unit: IntArray
    windows: Windows


def cases(ground: Ground, by: Sequence[str], *, stated: bool = False) -> Iterator[Case]:
    """Walk the groups of `asked_exposure` and `asked_episode` in order; see `groups.events`."""
    failed = events(ground, by, stated=stated)
    counts = failed.groupby([*by, "unit"], sort=False).size().rename("failures").reset_index()
    counted = cells(ground, by).merge(counts, on=[*by, "unit"], how="outer")
    counted = counted.fillna({"exposure": 0.0, "failures": 0, "places": 0})
    observed = _Observed.read(ground, by, units=counted["unit"])
    failed = failed.assign(
        window=observed.place(failed), code=observed.units.get_indexer(pd.Index(failed["unit"]))
    )
    counted["code"] = observed.units.get_indexer(pd.Index(counted["unit"]))
    for key, part, (failures,) in each_group(counted, by, failed):
        yield Case(
            key,
            part["exposure"].to_numpy(),
            part["failures"].to_numpy(dtype=np.int64),
            failures["code"].to_numpy(),
            observed.select(by, key, part, failures),
        )


@dataclass(frozen=True, slots=True)
class _Observed:
    """All windows, as arrays: picking a group's out of a frame would cost more than estimating."""

    frame: pd.DataFrame  # time words of `by`, unit, start, stop: sorted
    words: dict[str, NDArray[np.object_]]
    units: pd.Index[str]
    code: IntArray
    start: IntArray
    stop: IntArray
    service: IntArray
    unknown: NDArray[np.bool_]
    in_service_to: NDArray[np.datetime64]
    ticks: float

    @classmethod
    def read(cls, ground: Ground, by: Sequence[str], *, units: pd.Series[str]) -> _Observed:
        words = [word for word in TIME_WORDS if word in by and word != "locomotive"]
        since = "epoch_us(in_service_from)" if ground.clock == "days" else f"service_{ground.clock}"
        query = text_of("window.sql").format(words=", ".join([*words, "locomotive"]), service=since)
        frame = ground.rows(query).rename(columns={"locomotive": "unit"})
        names = pd.Index(pd.unique(pd.concat([units, frame["unit"]])))
        return cls(
            frame=frame,
            words={word: frame[word].to_numpy() for word in words},
            units=names,
            code=names.get_indexer(pd.Index(frame["unit"])).astype(np.int64),
            start=frame["start"].to_numpy(dtype=np.int64),
            stop=frame["stop"].to_numpy(dtype=np.int64),
            service=frame["service_tick"].fillna(0).to_numpy(dtype=np.int64),
            unknown=frame["service_tick"].isna().to_numpy(),
            in_service_to=frame["in_service_to"].to_numpy(),
            ticks=TICKS[ground.clock],
        )

    def place(self, failed: pd.DataFrame) -> IntArray:
        """Return the row of each failure's window, -1 where it fell into none."""
        if failed.empty or self.frame.empty:
            return np.full(len(failed), -1)
        joined = pd.merge_asof(
            failed.assign(order=range(len(failed))).sort_values("tick", kind="stable"),
            self.frame.assign(window=range(len(self.frame))).sort_values("start", kind="stable"),
            left_on="tick",
            right_on="start",
            by=[*self.words, "unit"],
            suffixes=("", "_of_window"),
        ).sort_values("order")
        inside = joined["window"].notna() & (joined["tick"] <= joined["stop"])
        return joined["window"].where(inside, -1).to_numpy(dtype=np.int64)

    def select(
        self, by: Sequence[str], key: Key, part: pd.DataFrame, failures: pd.DataFrame
    ) -> Windows:
        """Pick one group's windows and the failures in them."""
        places = np.zeros(len(self.units))
        places[part["code"].to_numpy()] = part["places"].to_numpy()
        kept = places[self.code] > 0
        for word, value in zip(by, key, strict=True):
            if word in self.words:
                kept &= self.words[word] == value
        rows = np.flatnonzero(kept)
        window, tick = failures["window"].to_numpy(), failures["tick"].to_numpy(dtype=np.int64)
        inside = np.isin(window, rows)
        return self._windows(rows, places, np.searchsorted(rows, window[inside]), tick[inside])

    def _windows(
        self, rows: IntArray, places: FloatArray, window: IntArray, tick: IntArray
    ) -> Windows:
        # Whole ticks are subtracted first: microseconds since 1970 do not fit a float exactly.
        start, stop, zero = self.start[rows], self.stop[rows], self.service[rows]
        blank = np.where(self.unknown[rows], np.nan, 0.0)
        first = start.min() if start.size else 0
        return Windows(
            start=(start - first) / self.ticks,
            end=(stop - first) / self.ticks,
            entry_age=(start - zero) / self.ticks + blank,
            exit_age=(stop - zero) / self.ticks + blank,
            unit=self.code[rows],
            places=places[self.code[rows]],
            in_service_to=self.in_service_to[rows],
            failure_window=window,
            failure_at=(tick - first) / self.ticks,
            failure_age=(tick - zero[window]) / self.ticks + blank[window],
        )
