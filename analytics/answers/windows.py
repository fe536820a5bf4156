"""Each group's windows of observation on the clock, and the failures that fell into them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, text_of
from analytics.answers.groups import (
    TIME_WORDS,
    Key,
    cells,
    count_events,
    counts_as_event,
)

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
    """Walk the groups of `asked_exposure` and `asked_episode` in order; see `groups.cells`."""
    counts = count_events(ground, by, stated=stated)
    counted = cells(ground, by).merge(counts, on=[*by, "unit"], how="outer")  # sorted by the keys
    counted = counted.fillna({"exposure": 0.0, "failures": 0, "places": 0})
    counted["cell"] = np.arange(len(counted))
    observed = _Observed.read(ground, by, units=counted["unit"])
    counted["code"] = observed.units.get_indexer(pd.Index(counted["unit"]))
    failed = _Failed.read(ground, by, counted, observed, stated=stated)
    exposure, places, code = (counted[name].to_numpy() for name in ("exposure", "places", "code"))
    failures = counted["failures"].to_numpy(dtype=np.int64)
    for key, rows in _group_rows(counted, by):
        part = failed.of_cells(rows)
        seen = observed.select(by, key, (code[rows], places[rows]), part)
        yield Case(key, exposure[rows], failures[rows], part.code, seen)


def _group_rows(counted: pd.DataFrame, by: Sequence[str]) -> Iterator[tuple[Key, slice]]:
    """Walk the groups in order: the key and where its rows stand, for they stand together."""
    if not by:
        yield (), slice(0, len(counted))
        return
    number = counted.groupby(list(by), sort=False, dropna=False).ngroup().to_numpy()
    begins = np.flatnonzero(np.diff(number, prepend=-1))
    keys = counted[list(by)].iloc[begins].itertuples(index=False, name=None)
    for key, (begin, end) in zip(keys, pairwise([*begins, len(counted)]), strict=True):
        yield key, slice(int(begin), int(end))


@dataclass(frozen=True, slots=True)
class _Failed:
    """Failures that count, sorted by cell and tick: only numbers, for there can be many."""

    cell: IntArray
    tick: IntArray
    code: IntArray  # of the locomotive
    window: IntArray  # row of the window it fell into, -1 for none

    @classmethod
    def read(
        cls,
        ground: Ground,
        by: Sequence[str],
        counted: pd.DataFrame,
        observed: _Observed,
        *,
        stated: bool,
    ) -> _Failed:
        """Read them, each with the number of its cell in `counted`."""
        ground.keep("asked_cell", counted[[*by, "unit", "cell"]])
        same = " AND ".join(["c.unit = a.locomotive", *(f"c.{word} = a.{word}" for word in by)])
        found = ground.rows(
            "SELECT cell, found_tick AS tick FROM asked_episode AS a JOIN asked_cell AS c"
            f" ON {same} WHERE {counts_as_event(by, stated=stated, of='a.')} ORDER BY ALL"
        )
        cell = found["cell"].to_numpy(dtype=np.int64)
        tick = found["tick"].to_numpy(dtype=np.int64)
        code = counted["code"].to_numpy(dtype=np.int64)
        return cls(cell, tick, code[cell], observed.place(counted, cell, tick))

    def of_cells(self, cells: slice) -> _Failed:
        """Pick those of the cells of one group."""
        kept = slice(*np.searchsorted(self.cell, (cells.start, cells.stop)))
        return _Failed(self.cell[kept], self.tick[kept], self.code[kept], self.window[kept])


@dataclass(frozen=True, slots=True)
class _Observed:
    """All windows, as arrays: picking a group's out of a frame would cost more than estimating."""

    frame: pd.DataFrame  # time words of `by`, unit, start, stop: sorted
    words: dict[str, tuple[IntArray, dict[object, int]]]  # the number of each row's name
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
            words={word: _numbered(frame[word]) for word in words},
            units=names,
            code=names.get_indexer(pd.Index(frame["unit"])).astype(np.int64),
            start=frame["start"].to_numpy(dtype=np.int64),
            stop=frame["stop"].to_numpy(dtype=np.int64),
            service=frame["service_tick"].fillna(0).to_numpy(dtype=np.int64),
            unknown=frame["service_tick"].isna().to_numpy(),
            in_service_to=frame["in_service_to"].to_numpy(),
            ticks=TICKS[ground.clock],
        )

    def place(self, counted: pd.DataFrame, cell: IntArray, tick: IntArray) -> IntArray:
        """Return the row of the window of each failure (its cell, its tick), -1 for none."""
        if not cell.size or self.frame.empty:
            return np.full(cell.size, -1)
        keys = pd.concat([self.frame[[*self.words, "unit"]], counted[[*self.words, "unit"]]])
        place = keys.groupby([*self.words, "unit"], sort=False).ngroup().to_numpy()
        mine, theirs = place[: len(self.frame)], place[len(self.frame) :][cell]
        # One number for place and moment: ticks themselves, times the places, would overflow.
        moments = np.unique(self.start)
        step = moments.size + 1
        begin = mine * step + np.searchsorted(moments, self.start, side="right")
        order = np.argsort(begin, kind="stable")
        found = theirs * step + np.searchsorted(moments, tick, side="right")
        row = order[np.searchsorted(begin[order], found, side="right") - 1]
        inside = (mine[row] == theirs) & (self.start[row] <= tick) & (tick <= self.stop[row])
        return np.where(inside, row, -1)

    def select(
        self,
        by: Sequence[str],
        key: Key,
        places_of: tuple[IntArray, FloatArray],
        failures: _Failed,
    ) -> Windows:
        """Pick one group's windows and the failures in them; `places_of` its units' places."""
        places = np.zeros(len(self.units))
        places[places_of[0]] = places_of[1]
        kept = places[self.code] > 0
        for word, value in zip(by, key, strict=True):
            if word in self.words:
                number, names = self.words[word]
                kept &= number == names.get(value, -1)
        rows = np.flatnonzero(kept)
        inside = np.isin(failures.window, rows)
        window = np.searchsorted(rows, failures.window[inside])
        return self._windows(rows, places, window, failures.tick[inside])

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


def _numbered(names: pd.Series[str]) -> tuple[IntArray, dict[object, int]]:
    """Number the names of a column: comparing numbers is far cheaper."""
    number, distinct = pd.factorize(names)
    return number.astype(np.int64), {name: at for at, name in enumerate(distinct)}
