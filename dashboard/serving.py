"""Serving an app: the first free port, and the first page fetched as a browser would."""

from __future__ import annotations

import errno
import json
import os
import socket
import threading
from contextlib import suppress
from http.client import HTTPConnection, HTTPException
from typing import Any

from flask import Flask
from waitress.server import BaseWSGIServer, create_server

from analytics.errors import ShedbookError
from analytics.store import Store
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from dashboard.record import count_findings
from dashboard.urls import HOME, page_url

_PORTS_TRIED = 100
_TAKEN = (errno.EADDRINUSE, errno.EACCES)
_PATIENCE_SECONDS = 120


def listen(server: Flask, *, host: str, port: int, threads: int) -> BaseWSGIServer:
    """Listen on the first free port from `port` upward; requests wait until it is run.

    Raises
    ------
    ShedbookError
        If none of the next hundred ports is free.
    """
    # The name stands for two addresses, which need not have the same port free.
    address = "127.0.0.1" if host == "localhost" else host
    last = min(port + _PORTS_TRIED, 65_536)
    for candidate in range(port, last):
        bound = _bind(address, candidate)
        if bound is not None:
            return create_server(server, sockets=[bound], threads=threads, ident="shedbook")
    raise ShedbookError(f"no port from {port} to {last - 1} is free on {host}.")


def _bind(address: str, port: int) -> socket.socket | None:
    """Return a socket bound to the port; None where the port is taken."""
    bound = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    if os.name != "nt":  # there it would let two programs share the port
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((address, port))
    except OSError as error:
        bound.close()
        if error.errno not in _TAKEN:
            raise
        return None
    return bound


def run_until_first_page(server: BaseWSGIServer, store: Store) -> None:
    """Run a listening server until the first page has answered, data and all; then stop it.

    Raises
    ------
    ShedbookError
        If a part of the page did not answer as it should.
    """
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        fetch_first_page(server.effective_host, int(server.effective_port), store)
    finally:
        # First let the answers in hand go out, then close inside the loop that watches the sockets.
        server.task_dispatcher.shutdown()
        server.trigger.pull_trigger(server.close)
        thread.join(timeout=10)


def warm(server: BaseWSGIServer, store: Store) -> threading.Thread:
    """Fetch the first page in the background, so that nobody waits for imports and its answers.

    Its requests wait until the server runs; a page that fails says so to whoever opens it.
    """
    where = server.effective_host, int(server.effective_port)

    def fetch() -> None:
        with suppress(ShedbookError, OSError, HTTPException):
            fetch_first_page(*where, store)

    thread = threading.Thread(target=fetch, name="warm", daemon=True)
    thread.start()
    return thread


def fetch_first_page(host: str, port: int, store: Store) -> None:
    """Fetch the first page, and that of the component with most failures: frame and every part.

    Raises
    ------
    ShedbookError
        If something did not answer 200, or answered with an error in place of figures.
    """
    for page, path in (("today", HOME), ("component", page_url("component", _first(store)))):
        _fetch(host, port, "GET", path)
        _fetch(host, port, "POST", "/_dash-update-component", page_call(path))
        for name in (FACTS, *PAGES[page].sections):
            _fetch(host, port, "POST", "/_dash-update-component", part_call(name, path))


def page_call(path: str, query: str = "") -> dict[str, Any]:
    """Return what a browser posts to have a page drawn."""
    return {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "inputs": [{"id": "address", "property": "pathname", "value": path}],
        "state": [{"id": "address", "property": "search", "value": query}],
        "changedPropIds": ["address.pathname"],
    }


def part_call(name: str, path: str, query: str = "") -> dict[str, Any]:
    """Return what a browser posts to have one part of a page drawn."""
    part = {"name": name, "type": "part"}
    return {
        "output": '{"name":["MATCH"],"type":"part"}.children',
        "outputs": {"id": part, "property": "children"},
        "inputs": [{"id": "address", "property": "search", "value": query}],
        "state": [
            {"id": "address", "property": "pathname", "value": path},
            {"id": part, "property": "id", "value": part},
        ],
        "changedPropIds": ["address.search"],
    }


def _first(store: Store) -> str:
    with store.read() as reader:
        counts = count_findings(reader)
        known = [name for name in reader.catalogue.components if name in counts]
        return max(
            known, key=lambda n: counts[n][1], default=next(iter(reader.catalogue.components))
        )


def _fetch(host: str, port: int, method: str, path: str, body: object = None) -> None:
    connection = HTTPConnection(host, port, timeout=_PATIENCE_SECONDS)
    headers = {"Content-Type": "application/json"} if body else {}
    try:
        connection.request(method, path, json.dumps(body) if body else None, headers)
        answer = connection.getresponse()
        text = answer.read().decode()
    finally:
        connection.close()
    if answer.status != 200:
        raise ShedbookError(f"the first page is not served: {path} answered {answer.status}.")
    if '"className":"error"' in text:
        raise ShedbookError(f"the first page is not served: a part of it failed ({body!r}).")
