"""One file of the corpus and what must become of it, and ways to write its rows."""

from __future__ import annotations

from dataclasses import dataclass

FINDINGS = "locomotive,found_at,component,position,defect,cost,note"
USAGE = "locomotive,read_at,engine_hours,km"


@dataclass(frozen=True)
class Case:
    """One file: where its rows go, what is said, and what ends in the facts.

    `kept`: an expression over the facts table of the first sheet, and its values in the order of
    the rows. `error`: part of the sentence with which the file is refused.
    """

    name: str
    content: bytes
    accepted: int = 0
    set_aside: int = 0
    says: str = ""
    error: str = ""
    kept: tuple[str, list[object]] | None = None


def finding(day: int = 1, *, cost: str = "", note: str = "", date: str = "") -> str:
    return f"A1,{date or f'2024-05-{day:02}'},fuel-injector,1,leaking,{cost},{note}"


def lines(*rows: str, head: str = FINDINGS, end: str = "\n") -> str:
    return end.join([head, *rows]) + end


def dated(*dates: str, head: str = FINDINGS) -> str:
    return lines(*(finding(date=date) for date in dates), head=head)


def kept_dates(*dates: str) -> tuple[str, list[object]]:
    return "strftime(found_at, '%Y-%m-%d %H:%M')", list(dates)


def costs(*written: str, mark: str = ";") -> str:
    day = [f"2024-05-{n:02}" for n in range(1, len(written) + 1)]
    table = [
        ["A1", date, "fuel-injector", "1", "leaking", cost, ""]
        for date, cost in zip(day, written, strict=True)
    ]
    return "\n".join(mark.join(row) for row in [FINDINGS.split(","), *table]) + "\n"


def usage(*written: tuple[str, str]) -> str:
    rows = [f"A1;2024-05-{n:02};{hours};{km}" for n, (hours, km) in enumerate(written, 1)]
    return "\n".join([USAGE.replace(",", ";"), *rows]) + "\n"
