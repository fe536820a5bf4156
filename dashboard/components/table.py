"""A table in words as plain HTML: sorted by its headings, turned page by page, by links alone."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from analytics.scope import Scope
from dashboard.asked import View, turned, without
from dashboard.components.aria import aria, data
from dashboard.sections.tables import Cell, Worded
from dashboard.urls import page_url
from dashboard.wording import Wording

STAYS = "stays"
"""Class of the links that change the query and leave the reader where he is (scope.js)."""
ADDRESSED = ("version",)
"""Columns whose values the address may name: choosing one shows the page for it."""


class TableDrawing:
    """Draws the table of one section of one address."""

    def __init__(self, name: str, *, query: str, scope: Scope, wording: Wording) -> None:
        """Name the section, the query of its page and the Scope that links carry on."""
        self._name, self._query, self._scope, self._wording = name, query, scope, wording

    def draw(self, table: Worded, *, caption: str, listed: bool = False) -> list[Component]:
        """Return the table and, where it has more than one page, the links that turn it.

        It scrolls sideways by itself, and by keyboard, where it is too wide; one that is `listed`
        turns into a list on a narrow screen, where each cell carries its own heading.
        """
        kinds = table.kinds
        body = [
            html.Tr(
                [
                    html.Td(self._cell(column, cell), className=kind, **data(head=head))
                    for column, head, cell, kind in zip(
                        table.columns, table.heads, row, kinds, strict=True
                    )
                ]
            )
            for row in table.rows
        ]
        heads = [self._head(table, place) for place in range(len(kinds))]
        drawn = html.Table(
            [html.Caption(caption), html.Thead(html.Tr(heads)), html.Tbody(body)],
            className="data listed" if listed else "data",
        )
        frame = html.Div(
            drawn, className="scrolling", role="group", tabIndex=0, **aria(label=caption)
        )
        return [frame, *self._turning(table)]

    def _cell(self, column: str, cell: Cell) -> Component | str:
        if column in ADDRESSED and cell.text.isdecimal():
            href = without(self._query, (column,), **{column: cell.text})
            return html.A(cell.text, href=href, className=STAYS)
        if not cell.name:
            return cell.text
        return dcc.Link(cell.text, href=page_url(column, cell.name, self._scope))

    def _head(self, table: Worded, place: int) -> Component:
        column, kind, now = table.columns[place], table.kinds[place], table.view
        here = column == now.column
        # Numbers and dates are first sorted from the top, names from A.
        down = not now.descending if here else kind in ("number", "date")
        way = ("descending" if now.descending else "ascending") if here else "none"
        link = html.A(
            table.heads[place],
            href=turned(self._query, self._name, View(column, down)),
            className=STAYS,
            title=self._wording.phrase("table.sort"),
        )
        return html.Th(link, scope="col", className=kind, **aria(sort=way))

    def _turning(self, table: Worded) -> list[Component]:
        if table.pages == 1:
            return []
        now, words = table.view, self._wording
        told = words.phrase("table.page", page=now.page, pages=table.pages, count=table.count)
        parts: list[Component | str] = [told]
        for key, page in (("table.previous", now.page - 1), ("table.next", now.page + 1)):
            if 1 <= page <= table.pages:
                view = View(now.column, now.descending, page)
                href = turned(self._query, self._name, view)
                parts += [" · ", html.A(words.phrase(key), href=href, className=STAYS)]
        return [html.P(parts, className="turning")]
