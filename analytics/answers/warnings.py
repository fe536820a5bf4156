"""What is found more often of late than before: an early warning for each component and class."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import NOT_IN_USE, make_basis
from analytics.answers.clocks import whole
from analytics.answers.ground import Ground, lay_failures, lay_ground
from analytics.answers.groups import left_out
from analytics.answers.weeks import WINDOW, Weeks, count_weeks
from analytics.errors import ScopeError
from analytics.estimate.baseline import LEAST_EVENTS, LEAST_WEEKS
from analytics.estimate.cusum import Watch, watch_counts
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "component", "class", "state", "since", "alarmed", "weeks", "observed", "expected", "ratio",
    "s", "h", "false_alarm_weeks", "locomotives", "note",
)  # fmt: skip
WEEKLY = ("component", "class", "week", "count", "expected", "s", "h", "alarm")
ALARM, QUIET, NO_CHART = "alarm", "quiet", "no chart"
WEEKS_A_MONTH = 365.25 / 12 / 7
WELL_KNOWN = 20
"""From this many events in the baseline on, false alarms were simulated to keep their setting."""


def warnings(
    reader: Reader,
    scope: Scope,
    *,
    false_alarms: float = 1.0,
    all_charts: bool = False,
    weekly: bool = False,
) -> Answer:
    """Watch first findings a week of each component and class for a rate that has doubled.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Components and classes only choose what is shown: the
        false alarms are shared by the charts of the whole fleet, so that a chart is the same on
        every page. Without a clock weeks are weighed by days at risk. The level is not used.
    false_alarms
        How many a month, over all charts together, are put up with.
    all_charts
        Whether charts without an alarm, and components without a chart, are listed too.
    weekly
        A row per chart and week instead, for drawing; expected, s and h empty without a chart.

    Returns
    -------
    Answer
        A row per chart: state after the last complete week; `since` the Monday of the week in which
        the sum left zero, `alarmed` that of the alarm; weeks, first findings observed and expected
        since then, and their ratio; sum s and limit h; the mean weeks to a false alarm of this
        chart; the locomotives that contributed since then, most first. Alarms first, the newest
        before the older, then the highest s / h. The note of an alarm whose sum has fallen below
        its limit again says so: the alarm ends once the sum has fallen by the limit.

    Conventions
    -----------
    `analytics.estimate.cusum.watch_counts`; a week is counted once something is known of its
    Sunday. Findings within 30 days after a closing belong to the one before.
    """
    if not false_alarms > 0:
        raise ScopeError(f"false_alarms must be above 0, but is {false_alarms!r}.")
    fleet = lay_ground(
        reader, replace(scope, classes=(), components=(), clock=scope.clock or "days")
    )
    weeks = count_weeks(fleet)
    watch = watch_counts(
        weeks.counts, weeks.exposure, weeks.month, false_alarms_a_week=false_alarms / WEEKS_A_MONTH
    )
    ground = lay_ground(reader, replace(scope, clock=fleet.clock))
    lay_failures(ground)
    charts = _table(weeks, watch)
    shown = _in_scope(charts, ground)
    table = _weekly(weeks, watch, shown, all_charts) if weekly else shown[list(COLUMNS)]
    if not (weekly or all_charts):
        table = table[table["state"] == ALARM]
    at = shown["row"].to_numpy(dtype=np.int64)
    basis = make_basis(
        ground,
        f"Poisson CUSUM for a doubling, baseline 104 weeks, first findings ({WINDOW})",
        events=int(weeks.counts[at].sum()),
        exposure=_running(weeks, shown),
        left_out=left_out(ground),
    )
    return Answer(
        "warnings",
        table.reset_index(drop=True),
        basis,
        _reading(shown, weeks),
        tuple(_notes(shown, watch, false_alarms)),
    )


def _table(weeks: Weeks, watch: Watch) -> pd.DataFrame:
    """Put every chart into a row as it stands after the last week, with its number as `row`."""
    table = weeks.charts.copy()
    table["row"] = range(len(table))
    if not len(weeks.monday):
        return _without_weeks(table)
    usable = np.isfinite(watch.h[:, -1])
    left, alarmed = watch.left_zero[:, -1], watch.alarmed[:, -1]
    table["state"] = np.select([alarmed >= 0, usable], [ALARM, QUIET], NO_CHART)
    table["since"], table["alarmed"] = _day(weeks, left), _day(weeks, alarmed)
    inside = (np.arange(len(weeks.monday)) >= left[:, None]) & (left >= 0)[:, None]
    table["weeks"] = inside.sum(axis=1)
    table["observed"] = (weeks.counts * inside).sum(axis=1).astype(np.int64)
    table["expected"] = np.nansum(watch.expected * inside, axis=1)
    table["ratio"] = (table["observed"] / table["expected"]).where(table["expected"] > 0)
    table["s"], table["h"] = watch.s[:, -1], watch.h[:, -1]
    table["false_alarm_weeks"] = watch.false_alarm_weeks[:, -1]
    table["locomotives"] = _contributors(weeks, left)
    table["baseline_weeks"] = watch.baseline.weeks
    table["baseline_events"] = watch.baseline.events
    table["seasonal"], table["dispersed"] = watch.baseline.seasonal, watch.baseline.dispersion > 1
    table["note"] = [_row_note(row) for _, row in table.iterrows()]
    order = table.assign(
        quiet=table["state"].map({ALARM: 0, QUIET: 1, NO_CHART: 2}),
        newest=-alarmed,
        full=-table["s"] / table["h"],
    )
    return table.loc[order.sort_values(["quiet", "newest", "full"], kind="stable").index]


def _without_weeks(table: pd.DataFrame) -> pd.DataFrame:
    table["state"], table["note"], table["locomotives"] = (
        NO_CHART,
        say(Message("warnings.short")),
        "",
    )
    table["since"] = table["alarmed"] = pd.Series(pd.NaT, index=table.index, dtype="datetime64[us]")
    table["weeks"] = table["observed"] = 0
    for name in ("expected", "ratio", "s", "h", "false_alarm_weeks"):
        table[name] = np.nan
    table["baseline_weeks"], table["baseline_events"] = 0, 0.0
    table["seasonal"] = table["dispersed"] = False
    return table


def _day(
    weeks: Weeks, index: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> pd.Series[pd.Timestamp]:
    days = pd.Series(weeks.monday[np.maximum(index, 0)])
    return days.where(index >= 0).astype("datetime64[us]")


def _contributors(weeks: Weeks, left: np.ndarray[tuple[int], np.dtype[np.int64]]) -> pd.Series[str]:
    """Name the locomotives of each chart since its sum left zero: `A-07 (5), A-03 (2)`."""
    keys = ["component", "class"]
    begun = weeks.charts.assign(left=left, row=range(len(left)))
    found = weeks.events.merge(begun[begun["left"] >= 0], on=keys)
    found = found[found["week"] >= found["left"]]
    each = found.groupby(["row", "locomotive"], sort=True)["events"].sum().reset_index()
    each = each.sort_values(["row", "events", "locomotive"], ascending=[True, False, True])
    named = each["locomotive"] + " (" + each["events"].astype(str) + ")"
    joined = named.groupby(each["row"]).agg(", ".join)
    return joined.reindex(range(len(left))).fillna("").astype(object)


def _row_note(row: pd.Series[Any]) -> str:
    few_weeks = row["baseline_weeks"] < LEAST_WEEKS
    none = row["state"] == NO_CHART
    events = row["baseline_events"]
    again = row["state"] == ALARM and row["s"] < row["h"]
    said = [
        (again, Message("warnings.below_again")),
        (none and few_weeks, Message("warnings.short")),
        (none and not few_weeks and events < LEAST_EVENTS, Message("warnings.rare")),
        (none and not few_weeks and events >= LEAST_EVENTS, Message("warnings.idle")),
        (not none and events < WELL_KNOWN, Message("warnings.rough")),
        (not none and bool(row["seasonal"]), Message("warnings.seasonal")),
        (not none and bool(row["dispersed"]), Message("warnings.bursts")),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


def _in_scope(charts: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    places = ground.rows(
        "SELECT DISTINCT component, class FROM asked_place JOIN asked_record USING (class)"
    )
    asked = pd.MultiIndex.from_frame(places)
    return charts[pd.MultiIndex.from_frame(charts[["component", "class"]]).isin(asked)]


def _weekly(weeks: Weeks, watch: Watch, shown: pd.DataFrame, all_charts: bool) -> pd.DataFrame:
    at = shown["row"].to_numpy(dtype=np.int64)
    if not all_charts:
        at = at[np.isfinite(watch.h[at]).any(axis=1)]
    number = len(weeks.monday)
    names = weeks.charts.iloc[np.repeat(at, number)].reset_index(drop=True)
    values = {
        "week": np.tile(weeks.monday.to_numpy().astype("datetime64[us]"), at.size),
        "count": weeks.counts[at].astype(np.int64).ravel(),
        "expected": watch.expected[at].ravel(),
        "s": watch.s[at].ravel(),
        "h": watch.h[at].ravel(),
        "alarm": watch.alarm[at].ravel(),
    }
    return pd.concat([names, pd.DataFrame(values)], axis=1)[list(WEEKLY)]


def _running(weeks: Weeks, shown: pd.DataFrame) -> float:
    """Running time of the classes shown, each counted once."""
    first = shown.drop_duplicates("class")["row"].to_numpy(dtype=np.int64)
    return float(weeks.exposure[first].sum())


def _reading(shown: pd.DataFrame, weeks: Weeks) -> Message:
    if shown.empty:
        return Message(NOT_IN_USE)
    if not len(weeks.monday):
        return Message("warnings.no_week")
    alarms = shown[shown["state"] == ALARM]
    idle = shown[shown["state"] == NO_CHART]
    charts = len(shown) - len(idle)
    without = {"idle": len(idle), "why": _why_idle(idle)}
    if not charts:
        return Message("warnings.none_runs", **without)
    if alarms.empty:
        return (
            Message("warnings.quiet_but", charts=charts, **without)
            if len(idle)
            else Message("warnings.quiet", charts=charts)
        )
    newest = alarms.iloc[0]
    told = {
        "alarms": len(alarms),
        "charts": charts,
        "fresh": int((alarms["alarmed"] >= weeks.monday[-4:][0]).sum()),
        "component": str(newest["component"]),
        "kind": str(newest["class"]),
        "alarmed": newest["alarmed"].date(),
        "since": newest["since"].date(),
        "observed": int(newest["observed"]),
        "expected": float(newest["expected"]),
    }
    return (
        Message("warnings.alarms_but", **told, **without)
        if len(idle)
        else Message("warnings.alarms", **told)
    )


def _why_idle(idle: pd.DataFrame) -> str:
    """Say why there is no chart: the reasons there are, each with its number where several."""
    short = idle["baseline_weeks"] < LEAST_WEEKS
    rare = ~short & (idle["baseline_events"] < LEAST_EVENTS)
    counts = {
        "warnings.why_short": int(short.sum()),
        "warnings.why_rare": int(rare.sum()),
        "warnings.why_resting": int((~short & ~rare).sum()),
    }
    said = {say(Message(key)): number for key, number in counts.items() if number}
    if len(said) <= 1:
        return "".join(said)
    numbered = (Message("warnings.why", reason=why, number=n) for why, n in said.items())
    return ", ".join(say(message) for message in numbered)


def _notes(shown: pd.DataFrame, watch: Watch, false_alarms: float) -> list[Message]:
    running = shown[shown["state"] != NO_CHART]
    if running.empty:
        return []
    weeks = watch.charts / false_alarms * WEEKS_A_MONTH
    notes = [
        Message(
            "warnings.setting",
            false_alarms=whole(false_alarms),
            charts=watch.charts,
            years=weeks / 52.18,
        ),
        Message("warnings.not_why"),
    ]
    often = int((running["false_alarm_weeks"] < 0.75 * weeks).sum())
    if often:
        notes.append(Message("warnings.oftener", charts=often))
    return notes
