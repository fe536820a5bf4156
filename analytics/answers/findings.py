"""Which defects were found, and which are still open: one row for each, however often written."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.ground import Ground, lay_ground, text_of
from analytics.answers.look_back import LookBack
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotive", "class", "depot", "component", "position", "defect", "severity", "found",
    "closed", "action", "open", "deferred", "age_days", "findings", "repeat", "down_hours", "cost",
)  # fmt: skip
WINDOW = "30d"
"""After a closing of the position, a failure found within it is a repeat."""

WITHHOLD_RANK = 3
_NEWEST_FIRST = "found DESC"
_GRAVEST_FIRST = "rank DESC, age_days DESC"


def findings(reader: Reader, scope: Scope, *, open: bool = False) -> Answer:
    """List the defects found: episodes, each with all the findings that belong to it.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. The period is that of `found`; up to its end nothing is
        known of a later closing. Clock and level are not used.
    open
        Only what is open at the data cut of its locomotive, or at the end of the period: put off,
        or without a closing.

    Returns
    -------
    Answer
        A row per episode, newest first; with `open` the gravest first, then the oldest. Position
        (empty: not stated), the highest severity, the last effective action (empty: open or not
        written), whether it was ever put off, its age in days while open, how many times it was
        written down, whether it came back within 30 days of a closing of its position.

    Conventions
    -----------
    Episodes found while the locomotive was not observed are listed too; the basis counts as events
    only the others, as rates do.
    """
    ground = lay_ground(reader, scope)
    found = _episodes(ground, only_open=open)
    found["position"] = found["position"].astype("Int64")
    basis = make_basis(ground, f"repeat window {WINDOW}", events=int(found["observed"].sum()))
    reading = _reading_of_open(found) if open else _reading(found)
    return Answer("findings", found[list(COLUMNS)], basis, reading, _notes(found))


def _episodes(ground: Ground, *, only_open: bool) -> pd.DataFrame:
    look_back = LookBack.read(WINDOW)
    query = text_of("finding.sql").format(
        **ground.sources,
        counted=ground.counted,
        gap=look_back.gap("prev", "found"),
        amount=look_back.amount,
        depot_kept=ground.kept(depot="coalesce(e.depot, '')"),
        defect_kept=ground.kept(defect="e.defect"),
        only_open=str(only_open).lower(),
        order=_GRAVEST_FIRST if only_open else _NEWEST_FIRST,
    )
    return ground.rows(query, since=ground.since, until=ground.until)


def _reading(found: pd.DataFrame) -> Message:
    if found.empty:
        return Message("findings.none")
    still = found[found["open"]]
    if still.empty:
        return Message("findings.all_closed", findings=len(found))
    oldest = still.sort_values("found", kind="stable").iloc[0]
    place = "" if pd.isna(oldest["position"]) else f" {oldest['position']}"
    return Message(
        "findings.some_open",
        findings=len(found),
        open=len(still),
        component=f"{oldest['component']}{place}",
        locomotive=str(oldest["locomotive"]),
        since=oldest["found"].date(),
    )


def _reading_of_open(found: pd.DataFrame) -> Message:
    if found.empty:
        return Message("findings.none_open")
    withheld = int((found["rank"] >= WITHHOLD_RANK).sum())
    return Message(
        "findings.open" if withheld else "findings.open_none_withheld",
        findings=len(found),
        locomotives=int(found["locomotive"].nunique()),
        withheld=withheld,
        since=found["found"].min().date(),
    )


def _notes(found: pd.DataFrame) -> tuple[Message, ...]:
    counts = {
        "findings.blank": int(found["blank"].sum()),
        "findings.unobserved": int((~found["observed"].astype(bool)).sum()),
        "findings.not_stated": int(found["position"].isna().sum()),
    }
    return tuple(Message(key, findings=count) for key, count in counts.items() if count)
