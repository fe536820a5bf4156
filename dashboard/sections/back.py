"""What came back lately: since yesterday, and in the last seven days."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from analytics.answer import Answer
from dashboard.sections.listing import listing
from dashboard.sections.model import Section
from dashboard.wording import Wording

_A_DAY = timedelta(days=1)
_LIST = listing("back", rows=6)


def draw(answer: Answer, wording: Wording, subject: str = "") -> Section:
    """Draw the answer of `repeats` over the last seven days, the latest first."""
    latest = replace(answer, table=answer.table.sort_values("last", ascending=False, kind="stable"))
    section = _LIST(latest, wording, subject)
    return replace(section, reading=_reading(answer, wording)) if len(answer.table) else section


def _reading(answer: Answer, wording: Wording) -> str:
    frame, since = answer.table, answer.basis.since
    yesterday = frame["last"].max() if since is None else since + timedelta(days=7) - 2 * _A_DAY
    longest = frame.sort_values("length", ascending=False, kind="stable").iloc[0]
    return wording.phrase(
        "back.reading",
        chains=len(frame),
        yesterday=int((frame["last"] >= yesterday).sum()),
        at=yesterday.date(),
        component=wording.label("component", str(longest["component"])),
        locomotive=str(longest["locomotive"]),
        length=int(longest["length"]),
    )
