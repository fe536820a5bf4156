"""Whether it comes back: the chance of a new failure within a window after a closing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, lay_ground, text_of
from analytics.answers.groups import Key, check_groups, each_group, finished, label, ranked
from analytics.answers.look_back import LookBack
from analytics.estimate.recurrence import INDEPENDENT, RecurrenceEstimate, recurrence_rate
from analytics.history import clock_at
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "findings", "closings", "repeats", "repeat_share", "matured", "same_day", "rate", "rate_lower",
    "rate_upper", "at_risk_at_window", "median_gap_days", "note",
)  # fmt: skip
_FIRST = "-"  # the action of repeat.sql where no closing came before
MOST_BLANK = 0.30
"""Above this share of blank actions a repeat cannot be told from a defect that went on."""


def recurrence(
    reader: Reader,
    scope: Scope,
    *,
    by: Sequence[str] = (),
    window: str = "30d",
    same_defect: bool = False,
    differ: str | None = None,
) -> Answer:
    """Count repeats among the failures, and estimate how often a closing is followed by one.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. Its clock is not used, the window has its own.
    by
        Group words. Failures by their own component, defect, depot, month; closings by theirs; by
        action, a failure stands where the action before it was the one named, or in a row of its
        own where no closing came before it or that closing's action was not written.
    window
        `30d`, `500h` or `2000km` after a closing.
    same_defect
        Whether only the same defect counts as come back; else any defect of the position.
    differ
        A word whose closings are set against each other: see
        `analytics.answers.recurrence_differ`.

    Returns
    -------
    Answer
        A row per group: failures, closings followed, repeats and their share of the failures,
        closings watched for the whole window (`matured`), repeats on the day of the closing, and
        the recurrence rate at the window with bounds (`analytics.estimate.recurrence`). What most
        surely comes back first, but by month, class or depot in their own order.

    Conventions
    -----------
    METHODS section 5: a failure is a repeat when its position was not open and its latest closing,
    of whatever counting rule, lies 0 to one window back; a closing before the period still makes it
    one. Followed are all closings in the period while observed, until the next counted failure, a
    renewal by plan, a pause, or the end.
    """
    if differ is not None:
        from analytics.answers.recurrence_differ import recurrence_differ

        return recurrence_differ(
            reader, scope, differ, by=by, window=window, same_defect=same_defect
        )
    check_groups(by, "recurrence", allowed=GROUPS)
    look_back = LookBack.read(window)
    ground = lay_ground(reader, scope)
    failures = _failures(ground, by, look_back, same_defect=same_defect)
    closings = read_closings(ground, by, look_back, same_defect=same_defect)
    usable = failures[failures["usable"]], closings[closings["usable"]]
    found = [
        _Group(key, part, _estimate(closed, look_back, scope.level))
        for key, part, (closed,) in each_group(usable[0], by, usable[1])
    ]
    table = finished([_row(group, by) for group in found], (*by, *COLUMNS))
    table = ranked(table, by, "rate_lower")
    basis = make_basis(
        ground,
        _method(found),
        events=len(usable[0]),
        censored=int((~usable[1]["recurred"]).sum()),
        left_out=_left_out(failures, closings),
    )
    basis = replace(basis, clock=look_back.clock)
    notes = _notes(found, usable[0], by, look_back)
    return Answer("recurrence", table, basis, _reading(found, ground, by, look_back), notes)


@dataclass(frozen=True, slots=True)
class _Group:
    key: Key
    failures: pd.DataFrame
    rate: RecurrenceEstimate


def _failures(
    ground: Ground, by: Sequence[str], look_back: LookBack, *, same_defect: bool
) -> pd.DataFrame:
    query = text_of("repeat.sql").format(
        **ground.sources,
        by="".join(f"{word}, " for word in by),
        prev="prev_same" if same_defect else "prev_any",
        counted=ground.counted,
        depot_kept=ground.kept(depot="e.depot"),
        defect_kept=ground.kept(defect="e.defect"),
        gap=look_back.gap("prev", "found"),
        since_begin=look_back.gap("begins", "found"),
        amount=look_back.amount,
    )
    return _with_reasons(ground.rows(query, since=ground.since, until=ground.until), by)


def read_closings(
    ground: Ground, by: Sequence[str], look_back: LookBack, *, same_defect: bool
) -> pd.DataFrame:
    """Read the closings to follow, with the words of `by` or severity, gap and whether usable."""
    _lay_until(ground)
    query = text_of("follow_up.sql").format(
        **ground.sources,
        by="".join(f"{word}, " for word in by),
        kind="defect" if same_defect else "0",
        counted=ground.counted,
        depot_kept=ground.kept(depot="c.depot"),
        defect_kept=ground.kept(defect="c.defect"),
        next_gap=look_back.gap("closed", "found"),
        end_gap=look_back.gap("closed", "censored"),
    )
    found = ground.rows(query, since=ground.since, until=ground.until)
    gap = found["next_gap"].where(found["recurred"], found["end_gap"])
    follow_up = np.fmax(found["end_gap"], gap)
    found = found.assign(gap=gap, follow_up=follow_up, no_clock=gap.isna())
    return _with_reasons(found, by)


def _with_reasons(found: pd.DataFrame, by: Sequence[str]) -> pd.DataFrame:
    """Say of each row why it is left out, and whether it can be used."""
    no_position = found["position"].isna() if "position" in by else pd.Series(False, found.index)
    reasons = [~found["observed"], found["no_clock"], no_position]
    names = ["out_of_window", "no_clock", "no_position"]
    reason = np.select([r.to_numpy(dtype=bool) for r in reasons], names, default="")
    found = found.assign(reason=reason, usable=reason == "")
    if "action" in by:
        found["action"] = found["action"].replace(
            {"": say(Message("recurrence.not_written")), _FIRST: say(Message("recurrence.first"))}
        )
    if "position" in by:
        found["position"] = found["position"].astype("Int64")
    return found


def _lay_until(ground: Ground) -> None:
    """Make `until_edge`: both counters of each locomotive at the end of the period."""
    edge = pd.DataFrame(
        {"locomotive": pd.Series(dtype=object), "until_hours": 0, "until_km": 0}
    ).astype({"until_hours": "Int64", "until_km": "Int64"})
    if ground.scope.until is not None:
        names = ground.rows("SELECT locomotive FROM asked_record")
        if len(names):
            read = clock_at(ground.reader.cursor, names.assign(at=ground.scope.until))
            edge = read.rename(columns={"hours": "until_hours", "km": "until_km"})
    ground.keep("until_edge", edge)


def _estimate(closed: pd.DataFrame, look_back: LookBack, level: float) -> RecurrenceEstimate:
    return recurrence_rate(
        closed["gap"],
        closed["recurred"],
        closed["unit"],
        window=look_back.amount,
        level=level,
        follow_up=closed["follow_up"],
    )


def _row(group: _Group, by: Sequence[str]) -> dict[str, object]:
    failures, rate = group.failures, group.rate
    repeats = failures[failures["repeat"]]
    remarks = [rate.note, "note.independent" if rate.method == INDEPENDENT else ""]
    return {
        **dict(zip(by, group.key, strict=True)),
        "findings": len(failures),
        "closings": rate.closings,
        "repeats": len(repeats),
        "repeat_share": len(repeats) / len(failures) if len(failures) else np.nan,
        "matured": rate.matured,
        "same_day": int(repeats["same_day"].sum()),
        "rate": rate.rate,
        "rate_lower": rate.lower,
        "rate_upper": rate.upper,
        "at_risk_at_window": rate.at_risk_at_window,
        "median_gap_days": float(repeats["gap_days"].median()) if len(repeats) else np.nan,
        "note": "; ".join(say(Message(key)) for key in remarks if key),
    }


def _method(found: list[_Group]) -> str:
    methods = sorted({group.rate.method for group in found if group.rate.method})
    return ", ".join(["Kaplan-Meier", *methods])


def _left_out(*frames: pd.DataFrame) -> dict[str, int]:
    reasons = pd.concat([frame["reason"] for frame in frames])
    counts = reasons[reasons != ""].value_counts()
    return {str(reason): int(count) for reason, count in counts.items()}


def _notes(
    found: list[_Group], failures: pd.DataFrame, by: Sequence[str], look_back: LookBack
) -> tuple[Message, ...]:
    notes = []
    blank = float(failures["blank_action"].mean()) if len(failures) else 0.0
    if blank > MOST_BLANK:
        sure = failures["repeat"] & ~failures["prev_blank"]
        notes.append(
            Message(
                "recurrence.blank_actions",
                percent=100 * blank,
                lower=100 * float(sure.mean()),
                upper=100 * float(failures["repeat"].mean()),
            )
        )
    if "action" in by:
        notes.append(Message("recurrence.went_with"))
    independent = sum(group.rate.method == INDEPENDENT for group in found)
    if independent and len(found) == 1:
        notes.append(Message("recurrence.one_independent"))
    elif independent:
        notes.append(Message("recurrence.independent", rows=independent, all=len(found)))
    early = int((failures["early"] & ~failures["repeat"]).sum())
    if early:
        notes.append(
            on_clock(
                "recurrence.early", look_back.clock, failures=early, window=whole(look_back.amount)
            )
        )
    return tuple(notes)


def _reading(
    found: list[_Group], ground: Ground, by: Sequence[str], look_back: LookBack
) -> Message:
    known = [group for group in found if not np.isnan(group.rate.rate)]
    if not known:
        failures = sum(len(group.failures) for group in found)
        return Message("recurrence.nothing", findings=failures)
    worst = max(known, key=lambda group: (group.rate.lower, group.rate.rate))
    repeats = int(worst.failures["repeat"].sum())
    subject = label(by, worst.key, ground)
    if len(found) > 1:
        key = "recurrence.most_after" if tuple(by) == ("action",) else "recurrence.most"
    else:
        key = "recurrence.one" if subject else "recurrence.all"
    return on_clock(
        key,
        look_back.clock,
        subject=subject,
        window=whole(look_back.amount),
        rate=_percent(worst.rate.rate),
        lower=_percent(worst.rate.lower),
        upper=_percent(worst.rate.upper),
        percent=whole(100 * ground.scope.level),
        repeats=repeats,
        findings=len(worst.failures),
        closings=worst.rate.closings,
    )


def _percent(share: float) -> float:
    """Round a share for a sentence: whole percent from 10 % on, one decimal below."""
    return whole(round(100 * share, 0 if share >= 0.1 else 1))
