"""First findings and running time of each component and class, week by week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, lay_failures, text_of
from analytics.answers.look_back import LookBack

FloatArray = NDArray[np.float64]

WINDOW = "30d"
"""A finding this soon after a closing belongs to the one before, and is not counted again."""
_WEEK = timedelta(days=7)


@dataclass(frozen=True)
class Weeks:
    """Complete weeks, Monday to Sunday, of every component and class.

    Attributes
    ----------
    charts
        Rows component, class: one for each component of each class with running time.
    monday : (weeks,)
        The first day of each week, oldest first.
    counts, exposure : (charts, weeks)
        First findings, and h, km or days of all locomotives of the class.
    events
        Rows component, class, locomotive, week (index of `monday`), events.
    """

    charts: pd.DataFrame
    monday: pd.DatetimeIndex
    counts: FloatArray
    exposure: FloatArray
    events: pd.DataFrame

    @property
    def month(self) -> NDArray[np.int64]:
        """Calendar month of each week: that of its Thursday."""
        return (self.monday + timedelta(days=3)).month.to_numpy(dtype=np.int64)


def count_weeks(ground: Ground) -> Weeks:
    """Count first findings a week, up to the last complete week of the record.

    A week is complete when something is known of its Sunday or of a later day.
    """
    lay_failures(ground)
    window = LookBack.read(WINDOW)
    query = text_of("first_finding.sql").format(
        episode=ground.sources["episode"],
        counted=ground.counted,
        gap=window.gap("prev", "found"),
        amount=window.amount,
    )
    ground.make("asked_event", query)
    seen = ground.rows(text_of("week_exposure.sql"))
    monday = _complete(seen["week"], ground)
    classes = list(dict.fromkeys(seen["class"]))
    seen = seen[seen["week"].isin(monday)]
    charts = _charts(ground, classes)
    running = np.zeros((len(classes), len(monday)))
    of_class = pd.Index(classes).get_indexer(pd.Index(seen["class"]))
    of_week = monday.get_indexer(pd.DatetimeIndex(seen["week"]))
    running[of_class, of_week] = seen["ticks"] / TICKS[ground.clock]
    events = ground.rows(text_of("week_count.sql"))
    events["week"] = monday.get_indexer(pd.DatetimeIndex(events["week"]))
    row = pd.MultiIndex.from_frame(charts).get_indexer(
        pd.MultiIndex.from_frame(events[["component", "class"]])
    )
    kept = (events["week"].to_numpy() >= 0) & (row >= 0)
    counts = np.zeros((len(charts), len(monday)))
    np.add.at(counts, (row[kept], events["week"].to_numpy()[kept]), events["events"][kept])
    exposure = running[pd.Index(classes).get_indexer(pd.Index(charts["class"]))]
    return Weeks(charts, monday, counts, exposure, events[kept].reset_index(drop=True))


def _complete(weeks: pd.Series[pd.Timestamp], ground: Ground) -> pd.DatetimeIndex:
    """Return the Mondays from the first week with running time to the last complete one."""
    if ground.data_cut is None or weeks.empty:
        return pd.DatetimeIndex([])
    # a cut at midnight says nothing of the day that begins there
    last_day = (ground.data_cut - timedelta(microseconds=1)).date()
    end = pd.Timestamp(last_day) + timedelta(days=1) - _WEEK
    return pd.date_range(weeks.min(), end, freq="7D")


def _charts(ground: Ground, classes: list[str]) -> pd.DataFrame:
    places = ground.rows("SELECT component, class FROM asked_place")
    order = {name: number for number, name in enumerate(ground.catalogue.components)}
    charts = places[places["class"].isin(classes)]
    charts = charts.sort_values(
        ["component", "class"], key=lambda c: c.map(order) if c.name == "component" else c
    )
    return charts.reset_index(drop=True)
