"""An app with one callback that answers one row: what the times of the pages are held against."""

from __future__ import annotations

from typing import Any

from dash import Dash, Input, Output, html
from dash.development.base_component import Component


def create_bare_app() -> Dash:
    """Make an app that does as little as a callback can: one value in, a table of one row out."""
    app = Dash(__name__, assets_ignore=".*", enable_mcp=False, websocket_callbacks=False)
    app.layout = html.Div([html.Button("ask", id="ask"), html.Div(id="row")])

    @app.callback(Output("row", "children"), Input("ask", "n_clicks"))
    def show_row(clicks: int) -> list[Component]:
        return [html.Table(html.Tbody(html.Tr([html.Td("clicks"), html.Td(clicks)])))]

    return app


def bare_call() -> dict[str, Any]:
    """Return what a browser posts to have the row drawn."""
    return {
        "output": "row.children",
        "outputs": {"id": "row", "property": "children"},
        "inputs": [{"id": "ask", "property": "n_clicks", "value": 1}],
        "changedPropIds": ["ask.n_clicks"],
    }
