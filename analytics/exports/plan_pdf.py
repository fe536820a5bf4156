"""A plan on paper: A4 on its side, day by berth, then visits, who is left out, limits, basis."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from html import escape

from analytics.answer import Message, round_for_reading, say
from analytics.errors import PlanError
from analytics.planning import tables
from analytics.planning.versions import Version

_BAND = 14  # days side by side
_MARK = {"mend": " !", "due": " *", "pinned": " +"}
_VISITS = ("first", "last", "berth", "locomotive", "jobs", "labour", "value", "reason")
_LOOK = """
@page { size: A4 landscape; margin: 14mm 12mm 16mm;
  @bottom-right { content: counter(page) " / " counter(pages); font: 8pt sans-serif; }
  @bottom-left { content: string(title); font: 8pt sans-serif; } }
body { font: 9pt/1.35 'DejaVu Sans', sans-serif; color: #1f2428; }
h1 { font-size: 15pt; margin: 0 0 2mm; string-set: title content(); }
h2 { font-size: 11pt; margin: 6mm 0 2mm; break-after: avoid; }
table { border-collapse: collapse; width: 100%; margin-bottom: 4mm; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: 0.4pt solid #b9b5ac; padding: 1mm 1.2mm; text-align: left; vertical-align: top; }
th { background: #f1efe9; font-weight: 600; }
.days { table-layout: fixed; break-inside: avoid; }
.days td, .days th { text-align: center; font-size: 7.5pt; }
.days th:first-child { width: 14mm; text-align: left; }
.closed { background: #e4e1d9; }
.number { text-align: right; white-space: nowrap; }
.caution { border-left: 2pt solid #b5521a; padding-left: 3mm; }
"""


def pdf_of(version: Version) -> bytes:
    """Return the PDF of one version, tagged for reading aloud (PDF/UA-1).

    Raises
    ------
    PlanError
        If WeasyPrint or the libraries that it draws with are not installed.
    """
    try:
        from weasyprint import HTML  # draws with Pango, which not every machine has
    except (ImportError, OSError) as error:
        raise PlanError(
            "a PDF needs WeasyPrint: pip install 'shedbook[report]' (and Pango, from your system)."
        ) from error
    content: bytes = HTML(string=page_of(version)).write_pdf(pdf_variant="pdf/ua-1")
    return content


def page_of(version: Version) -> str:
    """Return the document as HTML; every text from the record is escaped."""
    plan = version.plan
    title = say(Message("paper.title", version=version.number, first=plan.first_day))
    parts = [
        f"<h1>{escape(title)}</h1>",
        _paragraph(Message("plan.made", **_made(version))),
        _paragraph(Message("plan.caution"), "caution"),
        *_asked(version),
        *_calendar(version),
        _heading("visits"),
        _table("visits", _VISITS, tables.visit_rows(plan)),
        _heading("left_out"),
        _table("left", ("locomotive", "class", "expected", "worth", "reason"),
               tables.left_out_rows(plan)),
        _heading("limits"),
        _table("limits", ("limit", "name", "week", "used", "available", "fullest"),
               _tight(tables.limit_rows(plan, version.inputs))),
        *_worth(version),
        _heading("basis_title"),
        _paragraph(Message("paper.basis", data=plan.data, known_to=plan.known_to,
                           made_at=version.made_at, who=version.who)),
        _paragraph(Message("plan.what_value")),
    ]  # fmt: skip
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"<style>{_LOOK}</style></head><body>{''.join(parts)}</body></html>"
    )


def _made(version: Version) -> dict[str, object]:
    plan = version.plan
    return {
        "version": version.number, "visits": len(plan.visits), "weeks": plan.days // 7,
        "first": plan.first_day, "value": plan.value, "bound": plan.bound, "gap": 100 * plan.gap,
    }  # fmt: skip


def _asked(version: Version) -> list[str]:
    """Say what was pinned and kept free by hand."""
    plan = version.plan
    return [
        _paragraph(
            Message(f"paper.{word}", wishes=[f"{name} {day}".strip() for name, day in wishes])
        )
        for word, wishes in (("pins", plan.pins), ("forbidden", plan.forbidden))
        if wishes
    ]


def _paragraph(message: Message, look: str = "") -> str:
    return f'<p class="{look}">{escape(say(message))}</p>'


def _heading(name: str) -> str:
    return f"<h2>{escape(say(Message(f'paper.{name}')))}</h2>"


def _calendar(version: Version) -> Iterable[str]:
    """Yield a table of berths by days for each fortnight."""
    held: dict[tuple[str, date], Mapping[str, object]] = {
        (row["berth"], row["day"]): row for row in tables.day_rows(version.plan, version.inputs)
    }
    berths = [berth.name for berth in version.inputs.berths]
    yield _heading("days")
    for begin in range(0, version.plan.days, _BAND):
        size = min(_BAND, version.plan.days - begin)
        days = [version.plan.first_day + timedelta(days=begin + n) for n in range(size)]
        heads = "".join(f'<th scope="col">{day:%a}<br>{day:%d %b}</th>' for day in days)
        lines = "".join(
            f'<tr><th scope="row">{escape(name)}</th>'
            + "".join(_day(held[name, day]) for day in days)
            + "</tr>"
            for name in berths
        )
        corner = escape(say(Message("paper.berth")))
        yield (
            f'<table class="days"><thead><tr><th scope="col">{corner}</th>{heads}</tr></thead>'
            f"<tbody>{lines}</tbody></table>"
        )
    yield _paragraph(Message("paper.marks"))


def _day(row: Mapping[str, object]) -> str:
    text = escape(f"{row['locomotive']}{_MARK.get(str(row['kind']), '')}")
    closed = "" if row["is_open"] or row["locomotive"] else ' class="closed"'
    return f"<td{closed}>{text}</td>"


def _table(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> str:
    found = list(rows)
    if not found:
        return _paragraph(Message("paper.none"))
    heads = "".join(
        f'<th scope="col">{escape(say(Message(f"paper.{name}_{column}")))}</th>'
        for column in columns
    )
    lines = "".join(
        "<tr>" + "".join(_cell(column, row[column]) for column in columns) + "</tr>"
        for row in found
    )
    return f"<table><thead><tr>{heads}</tr></thead><tbody>{lines}</tbody></table>"


def _cell(column: str, value: object) -> str:
    if value is None:
        return "<td></td>"
    if isinstance(value, (int, float)):
        shown = f"{100 * value:.0f} %" if column == "fullest" else round_for_reading(float(value))
        return f'<td class="number">{escape(shown)}</td>'
    return f"<td>{escape(str(value))}</td>"


def _tight(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    """Keep the weeks in which a limit is nearly reached."""
    return [row for row in rows if float(str(row["fullest"])) >= 0.9]


def _worth(version: Version) -> list[str]:
    if not version.plan.worth:
        return []
    columns = ("more", "name", "day", "gain", "gain_of_bound")
    return [_heading("worth"), _table("worth", columns, tables.worth_rows(version.plan))]
