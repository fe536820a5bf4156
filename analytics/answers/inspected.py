"""What inspections write and what they let pass: findings per inspection, defects soon after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.ground import Ground, is_one_of, lay_ground, text_of
from analytics.estimate.rate import exact_mtbf_bounds
from analytics.estimate.rate_ratio import compare_populations
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "depot", "team", "month", "inspections", "findings", "findings_per_inspection", "lower",
    "upper", "missed", "missed_share", "note",
)  # fmt: skip
SOON_DAYS = 3
"""A defect found in service this soon after a clear inspection is counted as missed."""
BEYOND_CHANCE = 0.05
"""Depots are said to differ at or below this p, over all pairs of depots."""


def inspected(reader: Reader, scope: Scope) -> Answer:
    """Count what was written at inspections, and what came in service soon after a clear one.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Depots are those of the inspections. The clock is not
        used, and all counting rules count the same: what was found in service.

    Returns
    -------
    Answer
        A row per depot and month with an inspection, `team` empty, then one per team that wrote a
        finding there: its own findings over the same inspections, since no inspection names its
        team; `missed` is empty there. Bounds at the level of the scope are those of a Poisson
        count, without a finding the upper one alone.

    Conventions
    -----------
    A finding belongs to the inspection nearest to it on its day; those found in service, or on a
    day without one, to none. Missed: a failure first found in service within 3 days after the last
    inspection of a kind that sees its component, which released the locomotive and at which no
    finding of that component was written; it counts at the depot and in the month of that
    inspection, and per inspection in `missed_share`. One found at the instant of an inspection
    came before it, one without a time of day at the begin of its day. Of locomotives inspected
    every day nearly all that comes in service is counted, seen or not to be seen.
    """
    ground = lay_ground(reader, scope)
    _lay(ground)
    kept = is_one_of("i.depot", ground.scope.depots)
    found = ground.rows(text_of("inspected_row.sql").format(depot_kept=kept))
    by_locomotive = ground.rows(text_of("inspected_by.sql").format(depot_kept=kept))
    total = found[found["team"] == ""]
    sums = _Sums.of(total)
    basis = make_basis(ground, "exact-poisson", events=sums.findings)
    notes = _notes(ground, found, sums) if sums.inspections else ()
    reading = _reading(sums, by_locomotive, ground.scope.level)
    return Answer("quality", _table(found, ground.scope.level), basis, reading, notes)


@dataclass(frozen=True, slots=True)
class _Sums:
    inspections: int
    findings: int
    missed: int

    @classmethod
    def of(cls, total: pd.DataFrame) -> _Sums:
        return cls(*(int(total[name].sum()) for name in ("inspections", "findings", "missed")))


def _lay(ground: Ground) -> None:
    """Make `asked_inspection`, `asked_written` and `asked_missed`."""
    seen = ground.catalogue.tables()["component_seen_by"]
    ground.keep("asked_seen", pd.DataFrame(seen, columns=["component", "kind"]).astype("string"))
    components = is_one_of("f.component", ground.scope.components)
    filled = {
        "days": SOON_DAYS,
        "inspections": ground.in_force("inspections"),
        "findings": ground.in_force("findings"),
        "asked": f"{components} AND {ground.kept(defect='f.defect')}",
        "defect_kept": ground.kept(defect="e.defect"),
        "counted": ground.counted,
        "episode": ground.sources["episode"],
    }
    for name in ("inspection", "written", "missed"):
        ground.make(f"asked_{name}", text_of(f"{name}.sql").format(**filled))


def _table(found: pd.DataFrame, level: float) -> pd.DataFrame:
    inspections = found["inspections"].to_numpy(dtype=np.float64)
    findings = found["findings"].to_numpy(dtype=np.float64)
    # The bounds of a rate are those of the mean between two findings, upside down.
    least, most = exact_mtbf_bounds(findings, inspections, level=level)
    table = found.assign(
        inspections=found["inspections"].astype("int64"),
        findings=found["findings"].astype("int64"),
        findings_per_inspection=findings / inspections,
        lower=np.where(findings > 0, 1.0 / most, 0.0),
        upper=1.0 / least,
        missed=found["missed"].astype("Int64"),
        missed_share=found["missed"].to_numpy(dtype=np.float64, na_value=np.nan) / inspections,
        note=[_note(row) for row in found.to_dict("records")],
    )
    return table[list(COLUMNS)]


def _note(row: dict[Any, Any]) -> str:
    said = [
        (row["team"] != "", Message("inspected.of_all")),
        (row["some_nameless"], Message("inspected.nameless")),
        (row["late"], Message("inspected.late")),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


def _reading(sums: _Sums, by_locomotive: pd.DataFrame, level: float) -> Message:
    if not sums.inspections:
        return Message("inspected.nothing")
    each = sums.findings / sums.inspections
    soon: dict[str, Any] = {"missed": sums.missed, "days": SOON_DAYS}
    named = by_locomotive[by_locomotive["depot"] != ""]
    totals = named.groupby("depot")[["inspections", "findings"]].sum()
    rates = totals["findings"] / totals["inspections"]
    if len(rates) < 2 or not sums.findings:
        counted: dict[str, Any] = {"inspections": sums.inspections, "findings": sums.findings}
        return Message("inspected.one", each=each, **counted, **soon)
    most, least = str(rates.idxmax()), str(rates.idxmin())
    if not _beyond_chance(named, most, least, depots=len(rates), level=level):
        return Message("inspected.alike", each=each, **soon)
    ends: dict[str, Any] = {"most": most, "least": least}
    return Message(
        "inspected.differ",
        most_each=float(rates[most]),
        least_each=float(rates[least]),
        **ends,
        **soon,
    )


def _beyond_chance(
    named: pd.DataFrame, most: str, least: str, *, depots: int, level: float
) -> bool:
    """Tell whether the two depots furthest apart differ, over all pairs that might have been.

    Locomotives that differ among themselves, too few to allow for it, leave it open.
    """
    if most == least:
        return False
    wide = named.pivot_table(
        index="locomotive", columns="depot", values=["findings", "inspections"], fill_value=0
    )
    sides = [
        wide[(name, depot)].to_numpy(dtype=np.float64)
        for depot in (most, least)
        for name in ("findings", "inspections")
    ]
    found = compare_populations(*sides, level=level)
    pairs = depots * (depots - 1) / 2
    unsure = found.differ and found.method == "exact-binomial"
    return bool(found.p * pairs <= BEYOND_CHANCE) and not unsure


def _notes(ground: Ground, found: pd.DataFrame, sums: _Sums) -> tuple[Message, ...]:
    notes = [Message("inspected.either")]
    if sums.missed:
        notes.append(Message("inspected.often"))
    notes.append(Message("inspected.together"))
    if (found["team"] != "").any():
        notes.append(Message("inspected.teams"))
    if not ground.scope.depots:  # at which depot they were written is not known
        query = "SELECT count(*) AS number FROM asked_written WHERE asked AND id IS NULL"
        other = int(ground.rows(query)["number"].iloc[0])
        if other:
            notes.append(Message("inspected.other_days", findings=other))
    silent = ground.rows(
        "SELECT count(*) AS number FROM asked_inspection AS i WHERE outcome IS NULL"
        f" AND {is_one_of('i.depot', ground.scope.depots)}"
    )
    blank = int(silent["number"].iloc[0])
    if blank:
        notes.append(Message("inspected.no_outcome", inspections=blank))
    return tuple(notes)
