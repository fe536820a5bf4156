"""The data of a section as a file: the answer that the page shows, whole."""

from __future__ import annotations

import io
import re

from flask import Flask, Response, request

from analytics.errors import ShedbookError
from analytics.exports import FORMATS, write_answer
from analytics.exports.plan_file import PLAN_FORMS, plan_bytes
from analytics.planning.versions import Versions
from analytics.store import Store
from dashboard.asked import without
from dashboard.pages.berths import WHOLE
from dashboard.pages.parts import ask_section
from dashboard.pages.registry import PAGES
from dashboard.settings import Settings
from dashboard.urls import DATA
from dashboard.visit import Visit, visiting

_TYPES = {
    "csv": "text/csv",
    "ics": "text/calendar",
    "json": "application/json",
    "pdf": "application/pdf",
    "parquet": "application/vnd.apache.parquet",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def add_downloads(server: Flask, store: Store, settings: Settings) -> None:
    """Add the address of data files, `urls.data_url`, to a server."""

    @server.get(f"{DATA}<section>.<form>")
    def send_data(section: str, form: str) -> Response:
        if section == WHOLE:
            return _send_plan(store, form, request.args.get("version", ""))
        at, query = request.args.get("at", ""), without(request.query_string.decode(), ("at",))
        with visiting(store, settings, path=at, query=query) as visit:
            if form not in FORMATS or not _has(visit, section):
                return Response("There is no such data.\n", 404, mimetype="text/plain")
            return _send(section, form, visit)


def _send_plan(store: Store, form: str, version: str) -> Response:
    """Send the whole plan: its workbook, calendar or PDF."""
    if form not in PLAN_FORMS or not version.isdecimal():
        return Response("There is no such data.\n", 404, mimetype="text/plain")
    try:
        content = plan_bytes(Versions(store.root).get(int(version)), form)
    except ShedbookError as refusal:
        return Response(f"{refusal}\n", 400, mimetype="text/plain")
    return _as_file(content, f"{WHOLE}-{version}", form)


def _has(visit: Visit, section: str) -> bool:
    return visit.is_somewhere and section in PAGES[visit.place.page].sections


def _send(section: str, form: str, visit: Visit) -> Response:
    stream = io.BytesIO()
    try:
        answer, _ = ask_section(section, visit)
    except ShedbookError as refusal:
        return Response(f"{refusal}\n", 400, mimetype="text/plain")
    write_answer(answer, stream, form)
    words = [section, visit.place.name, str(answer.basis.data_cut or "")[:10]]
    name = "-".join(re.sub(r"[^A-Za-z0-9]+", "-", word).strip("-") for word in words if word)
    return _as_file(stream.getvalue(), name, form)


def _as_file(content: bytes, name: str, form: str) -> Response:
    sent = Response(content, mimetype=_TYPES[form])
    sent.headers["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    sent.headers["Cache-Control"] = "no-store"
    return sent
