"""Sections that are a list: the answer's table itself, most important rows first."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from analytics.answer import Answer
from dashboard.sections.common import grounds, twin
from dashboard.sections.model import ROWS, Section
from dashboard.wording import Wording


def listing(
    name: str,
    *,
    without: Collection[str] = (),
    shares: Sequence[str] = (),
    of: str = "failures",
    rows: int = ROWS,
    labelled: Sequence[str] = (),
) -> Callable[[Answer, Wording, str], Section]:
    """Return the drawing of a list; its title is the phrase `name.title`.

    Parameters
    ----------
    name
        The section's name.
    without
        Columns that are not shown; the files that can be taken along have them.
    shares
        Columns shown in per cent.
    of
        What the answer's basis counts as events.
    rows
        How many rows are shown at once.
    labelled
        Columns of sentences in which the catalogue's names become labels.
    """

    def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
        columns = [column for column in answer.table.columns if column not in without]
        frame = answer.table.assign(
            **{name: answer.table[name].map(wording.relabel) for name in labelled}
        )
        table = twin(frame, columns, clock=answer.basis.clock, shares=shares, opened=True)
        return Section(
            title=wording.phrase(f"{name}.title"),
            reading=wording.say(answer.reading),
            figure=None,
            table=replace(table, rows=rows) if table else None,
            notes=tuple(wording.say(note) for note in answer.notes),
            basis=grounds(answer.basis, wording, of=of),
        )

    return draw


def brief(name: str) -> Callable[[Answer, Wording, str], Section]:
    """Return the drawing of a section that only says its sentence; another page has the rest."""

    def draw(answer: Answer, wording: Wording, _subject: str = "") -> Section:
        return Section(
            title=wording.phrase(f"{name}.title"),
            reading=wording.say(answer.reading),
            figure=None,
            table=twin(answer.table, list(answer.table.columns), clock=answer.basis.clock),
            notes=(wording.phrase(f"{name}.more"),),
            basis=grounds(answer.basis, wording, of="findings"),
        )

    return draw
