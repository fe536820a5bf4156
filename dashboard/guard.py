"""What stands between a request and a page: the host asked for, and the headers of each answer."""

from __future__ import annotations

import secrets

from flask import Flask, Response, g, request

from analytics.errors import ShedbookError
from dashboard.urls import parse_path

LOOPBACK = ("127.0.0.1", "::1", "localhost")

_POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'nonce-{nonce}'",
        "style-src 'self' 'unsafe-inline'",  # the component libraries write style attributes
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self' blob:",
        "object-src 'none'",
        "base-uri 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)


def refuse_open_address(host: str) -> None:
    """Refuse to listen anywhere but on this machine: there is no sign-in yet.

    Raises
    ------
    ShedbookError
        For any address that is not the loopback.
    """
    if host not in LOOPBACK:
        raise ShedbookError(
            f"the pages have no sign-in yet, so they are served on this machine only "
            f"({', '.join(LOOPBACK)}), not on {host!r}."
        )


def guard(server: Flask) -> None:
    """Put the host check and the headers on every request of a server."""
    server.before_request(_refuse_other_hosts)
    server.before_request(_refuse_other_pages)
    server.after_request(_add_headers)


def _nonce() -> str:
    """Return this request's nonce, made on first use."""
    if "nonce" not in g:
        g.nonce = secrets.token_urlsafe(16)
    return str(g.nonce)


def _refuse_other_hosts() -> Response | None:
    """Refuse names that a hostile page could point at this machine (DNS rebinding)."""
    host = request.host.rsplit(":", 1)[0] if not request.host.endswith("]") else request.host
    if host.strip("[]").lower() in LOOPBACK:
        return None
    return Response("This address is not served here.\n", 403, mimetype="text/plain")


def _refuse_other_pages() -> Response | None:
    """Refuse what a page of another host sends: only our own may change anything."""
    origin = request.headers.get("Origin")
    if request.method == "GET" or origin in (None, request.host_url.rstrip("/")):
        return None
    return Response("This is taken from its own pages only.\n", 403, mimetype="text/plain")


def _add_headers(response: Response) -> Response:
    response.headers["Content-Security-Policy"] = _POLICY.format(nonce=_nonce())
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Referrer-Policy"] = "same-origin"
    response.headers["X-Frame-Options"] = "DENY"
    if response.mimetype == "text/html":
        _finish_page(response)
    return response


def _finish_page(response: Response) -> None:
    """Give a page's scripts the nonce, keep it out of caches, and say 404 where there is none."""
    page = response.get_data(as_text=True)
    response.set_data(page.replace("<script", f'<script nonce="{_nonce()}"'))
    response.headers["Cache-Control"] = "no-store"
    if response.status_code == 200 and parse_path(request.path).page == "nowhere":
        response.status_code = 404
