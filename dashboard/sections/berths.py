"""The berth plan, part by part: the calendar with its visits, and lists in the planner's words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import date

import pandas as pd

from analytics.answer import Answer
from dashboard.figures.berths import Calendar, Kind, Stay, draw_berths
from dashboard.figures.look import Figure
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import Section
from dashboard.wording import Wording

KINDS = {"job": "", "due": " *", "mend": " !", "pinned": " +"}
"""What a visit is for, with the mark beside its locomotive."""
_AS = {
    "first": "from",
    "last": "to",
    "value": "plan_worth",
    "kind": "visit_kind",
    "component": "components",
    "position": "positions_done",
    "failures": "failures_ahead",
    "expected": "failures_ahead",
}
"""Columns whose name means something else in other tables."""
_WORDS = ("kind", "change", "limit", "more")
"""Columns of the plan's own words."""
_SHOWN = {
    "visits": ("locomotive", "from", "to", "berth", "jobs", "labour", "plan_worth", "reason"),
    "left-out": ("locomotive", "class", "failures_ahead", "worth", "reason"),
    "jobs": (
        "locomotive", "from", "job", "visit_kind", "components", "positions_done", "labour",
        "parts", "plan_worth", "failures_ahead", "failures_if_done",
    ),
    "limits": ("limit", "name", "week", "used", "available", "fullest"),
    "worth": ("more", "name", "day", "gain", "gain_of_bound"),
    "versions": (
        "version", "made_at", "who", "parent", "again", "from", "visits", "plan_worth", "bound",
        "gap", "pinned", "kept_free",
    ),
    "compare": (
        "locomotive", "change", "first_before", "berth_before", "jobs_before", "from", "berth",
        "jobs",
    ),
}  # fmt: skip
"""Columns of each part that are shown, in order; the files that can be taken along have all."""
_SHARES = ("fullest", "gap")


def plan_list(name: str, part: str) -> Callable[..., Section]:
    """Return the drawing of one part of a plan as a list; its title is the phrase `name.title`."""

    def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
        return _section(name, part, answer, wording)

    return draw


def draw_plan(
    answer: Answer, wording: Wording, _subject: str = "", *, beside: Answer | None = None
) -> Section:
    """Draw the answer of `plan`: its visits, on the calendar that `plan --part days` gives."""
    days = pd.DataFrame() if beside is None else beside.table
    figure = _figure(answer.table, days, wording) if len(answer.table) and len(days) else None
    return _section("berth_plan", "visits", answer, wording, figure)


def _section(
    name: str, part: str, answer: Answer, wording: Wording, figure: Figure | None = None
) -> Section:
    frame = _in_words(answer.table, wording)
    if part == "limits":  # where it is full comes first
        frame = frame.sort_values("fullest", ascending=False, kind="stable")
    shares = [column for column in _SHARES if column in frame]
    return Section(
        title=wording.phrase(f"{name}.title"),
        reading=wording.say(answer.reading),
        figure=figure,
        table=twin(frame, _SHOWN[part], clock=answer.basis.clock, shares=shares, opened=True),
        notes=tuple(
            wording.say(note)
            for note in answer.notes
            if part == "visits" or note.key != "plan.older"  # said once on a page
        ),
        basis=None if part == "versions" else grounds(answer.basis, wording, of="visits"),
    )


def _in_words(frame: pd.DataFrame, wording: Wording) -> pd.DataFrame:
    """Put a plan's own words for those of the tables, and name columns for what they are here."""
    changed = {
        column: frame[column].map(
            {value: wording.phrase(f"plan_{column}.{value}") for value in frame[column].unique()}
        )
        for column in _WORDS
        if column in frame
    }
    if "component" in frame:
        changed["component"] = frame["component"].map(lambda names: _labels(names, wording))
    if "position" in frame:
        changed["position"] = frame["position"].map(in_runs)
    if "reason" in frame:
        changed["reason"] = frame["reason"].map(wording.relabel)
    return frame.assign(**changed).rename(columns=_AS)


def _labels(names: str, wording: Wording) -> str:
    return ", ".join(wording.label("component", name) for name in names.split(", ") if name)


def in_runs(numbers: str) -> str:
    """Write positions that follow on each other as a run.

    >>> in_runs("1, 2, 3, 5, 7, 8"), in_runs("4"), in_runs("")
    ('1–3, 5, 7, 8', '4', '')
    """
    runs: list[list[str]] = []
    for number in (int(one) for one in numbers.split(", ") if one):
        if runs and int(runs[-1][-1]) + 1 == number:
            runs[-1].append(str(number))
        else:
            runs.append([str(number)])
    told = [f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(run) for run in runs]
    return ", ".join(told)


def _figure(visits: pd.DataFrame, days: pd.DataFrame, wording: Wording) -> Figure:
    held = days[days["locomotive"] != ""].drop_duplicates(["locomotive", "first"])
    kind_of = dict(
        zip(zip(held["locomotive"], held["first"], strict=True), held["kind"], strict=True)
    )
    names = list(KINDS)
    columns = ("locomotive", "berth", "first", "last", "jobs")
    stays = [
        Stay(
            berth,
            first.date(),
            last.date(),
            names.index(kind_of.get((locomotive, first), "job")),
            locomotive,
            wording.phrase("berth_plan.pointed", locomotive=locomotive, berth=berth,
                           first=first.date(), last=last.date(), jobs=jobs),
        )
        for locomotive, berth, first, last, jobs in zip(
            *(visits[name] for name in columns), strict=True
        )
    ]  # fmt: skip
    calendar = Calendar(
        berths=list(dict.fromkeys(days["berth"])),
        first=days["day"].min().date(),
        last=days["day"].max().date(),
        closed=_closed(days),
        closed_said=wording.phrase("berth_plan.closed"),
        weekdays=wording.phrase("berth_plan.weekdays").split(),
        months=wording.phrase("berth_plan.months").split(),
    )
    kinds = [Kind(wording.phrase(f"plan_mark.{name}"), mark) for name, mark in KINDS.items()]
    return draw_berths(stays, kinds, calendar)


def _closed(days: pd.DataFrame) -> Sequence[tuple[str, date, date]]:
    """Return the stretches on which a berth is closed."""
    shut = days[~days["is_open"].astype(bool)].sort_values(["berth", "day"], kind="stable")
    new = (shut["berth"] != shut["berth"].shift()) | (shut["day"].diff() != pd.Timedelta(days=1))
    spans = shut.groupby(new.cumsum()).agg(
        berth=("berth", "first"), first=("day", "min"), last=("day", "max")
    )
    return [
        (str(berth), first.date(), last.date())
        for berth, first, last in zip(spans["berth"], spans["first"], spans["last"], strict=True)
    ]
