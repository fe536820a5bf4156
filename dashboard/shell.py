"""What every page stands in: the document, the header, the footer, the place for the page."""

from __future__ import annotations

from collections.abc import Mapping

import dash_mantine_components as dmc
from dash import dcc, html
from dash.development.base_component import Component

from dashboard.components.aria import data
from dashboard.components.table import STAYS
from dashboard.urls import HOME, LISTS, page_url
from dashboard.wording import phrases

ADDRESS, PAGE, KIT, THEME = "address", "page", "kit", "theme"
FONT = "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif"

_DOCUMENT = """<!DOCTYPE html>
<html lang="{language}">
<head>{{%metas%}}<title>{{%title%}}</title>
<link rel="icon" type="image/svg+xml" href="{icon}">{{%css%}}
<script src="{look}"></script></head>
<body>
<noscript>{needs_script}</noscript>
{{%app_entry%}}
{{%config%}}{{%scripts%}}{{%renderer%}}
</body>
</html>"""


def build_document(language: str, *, look: str, icon: str) -> str:
    """Return the HTML of all pages; `look` is the script that sets light or dark early."""
    needs_script = phrases(language)["page.needs_script"]
    return _DOCUMENT.format(language=language, look=look, icon=icon, needs_script=needs_script)


def build_shell(language: str) -> Component:
    """Return the layout that all pages share."""
    words = phrases(language)
    header = html.Header(
        [
            html.A(words["page.skip"], href=f"#{PAGE}", className="skip"),
            dcc.Link(words["page.name"], href=HOME, className="name"),
            html.Nav([_way(page, words) for page in LISTS]),
            html.Button(
                words["page.theme"], id=THEME, type="button", title=words["page.theme_label"]
            ),
        ]
    )
    body = html.Div(
        [
            dcc.Location(id=ADDRESS, refresh=False),
            header,
            _unanswered(words),
            html.Main(html.P(words["page.loading"]), id=PAGE, tabIndex=-1),
            html.Footer(html.P(words["page.foot"])),
        ],
        className="frame",
    )
    theme = {"fontFamily": FONT, "primaryShade": 7}
    shell: Component = dmc.MantineProvider(body, id=KIT, defaultColorScheme="auto", theme=theme)
    return shell


def _unanswered(words: Mapping[str, str]) -> Component:
    """Return the place in which the script says that the server does not answer (answers.js)."""
    said = {kind: words[f"page.{kind}"] for kind in ("silent", "failed", "long")}
    return html.P(id="unanswered", className="error", role="alert", hidden=True, **data(**said))


def _way(page: str, words: Mapping[str, str]) -> Component:
    """Return the link to a page; the script carries the choices of this page over to it."""
    return html.A(words[f"page.{page}"], href=page_url(page), className=f"{STAYS} way")
