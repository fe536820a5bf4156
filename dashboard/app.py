"""The dashboard as an application: made by a factory, served on this machine."""

from __future__ import annotations

import logging
import re
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any

from dash import ALL, MATCH, ClientsideFunction, Dash, Input, Output, State, ctx, html, set_props
from dash.development.base_component import Component
from flask import Flask

from analytics.store import Store
from dashboard import serving, shell
from dashboard.components import replan, work
from dashboard.download import add_downloads
from dashboard.guard import guard, refuse_open_address
from dashboard.pages.berths import draw_replan
from dashboard.pages.frame import draw_page
from dashboard.pages.parts import draw_part
from dashboard.pages.records import draw_work
from dashboard.settings import Settings
from dashboard.visit import visiting
from dashboard.wording import phrases

HEALTH = "healthz"
_ASSETS = Path(__file__).parent / "assets"
_YEAR_SECONDS = 31_536_000
_EARLY = "look.js"  # stands in the head, before the rest
_log = logging.getLogger("shedbook.dashboard")


def create_app(store: Store, settings: Settings) -> Dash:
    """Make the application on a store; nothing is read before the first request.

    Parameters
    ----------
    store
        The store whose newest snapshot every page shows.
    settings
        Language, threads, cache.
    """
    server = Flask(__name__)
    # Files are packed while they are sent: as gzip, which every browser takes, also without TLS.
    server.config["COMPRESS_ALGORITHM_STREAMING"] = ["gzip"]
    app = Dash(
        __name__,
        server=server,  # type: ignore[arg-type]  # a Flask server is what it takes
        assets_folder=str(_ASSETS),
        assets_ignore=re.escape(_EARLY),
        serve_locally=True,
        compress=True,
        title=phrases(settings.language)["page.name"],
        update_title="",
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
        health_endpoint=HEALTH,
        on_error=_explain(settings.language),
        enable_mcp=False,
        websocket_callbacks=False,
    )
    # Asset addresses carry their file's time, so a browser may keep them.
    app.server.config["SEND_FILE_MAX_AGE_DEFAULT"] = _YEAR_SECONDS
    app.index_string = shell.build_document(
        settings.language, look=_address(app, _EARLY), icon=_address(app, "favicon.svg")
    )
    app.layout = shell.build_shell(settings.language)
    guard(app.server)
    add_downloads(app.server, store, settings)
    _add_callbacks(app, store, settings)
    _add_browser_callbacks(app)
    warm_up(app)
    return app


def _address(app: Dash, asset: str) -> str:
    """Return an asset's address with its file's time, as Dash writes those that it lists."""
    return f"{app.get_asset_url(asset)}?m={(_ASSETS / asset).stat().st_mtime}"


def warm_up(app: Dash) -> None:
    """Take the first request alone: Dash's own set-up is not safe among threads."""
    with app.server.test_client() as client:
        client.get(f"/{HEALTH}", headers={"Host": "localhost"})


def serve(
    store: Store,
    *,
    host: str = "127.0.0.1",
    port: int = 8050,
    until_ready: bool = False,
    on_ready: Callable[[str], None] | None = None,
) -> None:
    """Serve the pages of a store on this machine until stopped (Ctrl-C).

    Parameters
    ----------
    store
        An open store.
    host, port
        Where to listen; the first free port from `port` upward is taken.
    until_ready
        Stop once the first component page has answered with its data.
    on_ready
        Called with the address when pages can be opened.

    Raises
    ------
    ShedbookError
        For a host other than this machine, when no port is free, or when the first page fails.
    """
    refuse_open_address(host)
    settings = Settings.from_environment()
    app = create_app(store, settings)
    server = serving.listen(app.server, host=host, port=port, threads=settings.threads)
    shown_host = f"[{host}]" if ":" in host else host
    if until_ready:
        serving.run_until_first_page(server, store)
    if on_ready:
        on_ready(f"http://{shown_host}:{server.effective_port}/")
    if not until_ready:
        serving.warm(server, store)
        server.run()


def _add_callbacks(app: Dash, store: Store, settings: Settings) -> None:
    """Register the callbacks that serve every page: page, part, work."""

    @app.callback(
        Output(shell.PAGE, "children"),
        Input(shell.ADDRESS, "pathname"),
        State(shell.ADDRESS, "search"),
    )
    def show_page(path: str | None, query: str | None) -> list[Component]:
        with visiting(store, settings, path=path, query=query) as visit:
            return draw_page(visit)

    @app.callback(
        Output({"type": "part", "name": MATCH}, "children"),
        Input(shell.ADDRESS, "search"),
        State(shell.ADDRESS, "pathname"),
        State({"type": "part", "name": MATCH}, "id"),
    )
    def show_part(query: str | None, path: str | None, part: dict[str, str]) -> list[Component]:
        with visiting(store, settings, path=path, query=query) as visit:
            return draw_part(part["name"], visit)

    @app.callback(
        Output({"type": work.PANEL, "name": MATCH}, "children"),
        Input({"type": work.START, "name": MATCH}, "n_clicks"),
        Input({"type": work.WATCH, "name": MATCH}, "n_intervals"),
        State({"type": work.BATCH, "name": MATCH}, "value"),
        State({"type": work.SURE, "name": MATCH}, "checked"),
        prevent_initial_call=True,
    )
    def show_work(
        _clicks: int | None, _watched: int | None, batch: str | None, sure: bool | None
    ) -> list[Component]:
        pressed = _pressed().get("type") == work.START
        with visiting(store, settings, path=None, query=None) as visit:
            return draw_work(visit, pressed=pressed, batch=batch, sure=bool(sure))

    @app.callback(
        Output({"type": replan.PANEL, "name": MATCH}, "children"),
        Input({"type": replan.BUTTON, "name": MATCH, "part": ALL}, "n_clicks"),
        Input({"type": replan.WATCH, "name": MATCH}, "n_intervals"),
        State({"type": replan.FIELD, "name": MATCH, "part": ALL}, "value"),
        State({"type": replan.MORE, "name": MATCH}, "checked"),
        State(shell.ADDRESS, "search"),
        prevent_initial_call=True,
    )
    def show_replan(
        _clicks: list[int], _watched: int | None, fields: list[Any], more: bool, query: str | None
    ) -> list[Component]:
        pressed = _pressed().get("part", "")
        given = {**dict(zip(replan.FIELDS, fields, strict=False)), "more": more}
        with visiting(store, settings, path=None, query=query) as visit:
            watched = (ctx.triggered_id or {}).get("type") == replan.WATCH
            drawn, shows = draw_replan(visit, pressed=pressed, watched=watched, given=given)
        if shows:  # the version that has just been made
            set_props(shell.ADDRESS, {"search": shows})
        return drawn


def _pressed() -> dict[str, str]:
    """Return the id of what was pressed; a button that has just been drawn was not yet."""
    return ctx.triggered_id or {} if ctx.triggered[0]["value"] else {}


def _add_browser_callbacks(app: Dash) -> None:
    """Register what the browser does by itself: controls, look, title."""
    in_browser: Callable[..., None] = app.clientside_callback
    # Two callbacks, not one circle: with an output among its inputs, the parts would wait for it.
    controls = {"type": "scope", "name": ALL, "default": ALL}
    in_browser(
        ClientsideFunction("shedbook", "write"),
        Input(controls, "value"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("shedbook", "read"),
        Output(controls, "value"),
        Input(shell.ADDRESS, "search"),
        State(controls, "value"),
        State(controls, "data"),
        prevent_initial_call=True,
    )
    in_browser(
        ClientsideFunction("shedbook", "look"),
        Output(shell.KIT, "forceColorScheme"),
        Input(shell.THEME, "n_clicks"),
    )
    in_browser(ClientsideFunction("shedbook", "arrive"), Input(shell.PAGE, "children"))


def _explain(language: str) -> Callable[[Exception], list[Component]]:
    """Return the handler of what no one foresaw: logged with a reference, told in a sentence."""

    def explain(error: Exception) -> list[Component]:
        reference = secrets.token_hex(4)
        _log.error("reference %s", reference, exc_info=error)
        sentence = phrases(language)["page.error"].format(reference=reference)
        return [html.P(sentence, className="error", role="alert")]

    return explain
