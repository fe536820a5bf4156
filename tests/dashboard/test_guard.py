from __future__ import annotations

import re
from collections.abc import Callable

import plotly
import pytest
from flask.testing import FlaskClient

from analytics.errors import ShedbookError
from analytics.store import Store
from dashboard.app import serve

Client = Callable[..., FlaskClient]


def test_scripts_carry_the_nonce_of_their_own_answer(make_client: Client) -> None:
    client = make_client()
    nonces = []
    for _ in range(2):
        answer = client.get("/")
        policy = answer.headers["Content-Security-Policy"]
        found = re.search(r"script-src 'self' 'nonce-([\w-]+)'", policy)
        assert found is not None
        assert "unsafe-inline" not in policy.split("style-src")[0]
        assert "unsafe-eval" not in policy
        scripts = re.findall(r"<script[^>]*>", answer.get_data(as_text=True))
        assert len(scripts) > 5
        assert all(f'nonce="{found[1]}"' in script for script in scripts)
        nonces.append(found[1])
    assert nonces[0] != nonces[1]


@pytest.mark.parametrize(
    "path", ["/", "/component/injector", "/elsewhere", "/healthz", "/assets/base.css"]
)
def test_every_answer_has_the_guarding_headers(make_client: Client, path: str) -> None:
    with make_client().get(path) as answer:
        headers = answer.headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert "default-src 'self'" in headers["Content-Security-Policy"]


def test_pages_are_not_cached_and_assets_are(make_client: Client) -> None:
    client = make_client()
    assert client.get("/").headers["Cache-Control"] == "no-store"
    with client.get("/assets/base.css") as asset:
        assert "max-age=31536000" in asset.headers["Cache-Control"]


@pytest.mark.parametrize(
    "host", ["localhost", "127.0.0.1:8050", "[::1]:8050", "[::1]", "LOCALHOST"]
)
def test_this_machine_is_served_under_its_own_names(make_client: Client, host: str) -> None:
    assert make_client().get("/healthz", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["evil.example", "127.0.0.1.evil.example", "192.0.2.7:8050", "localhost.evil.example:80"],
)
@pytest.mark.parametrize("path", ["/", "/_dash-layout", "/assets/base.css"])
def test_other_names_are_refused_everywhere(make_client: Client, host: str, path: str) -> None:
    assert make_client().get(path, headers={"Host": host}).status_code == 403


def test_callbacks_are_refused_under_another_name(make_client: Client) -> None:
    answer = make_client().post(
        "/_dash-update-component", json={}, headers={"Host": "evil.example"}
    )
    assert answer.status_code == 403


@pytest.mark.parametrize("host", ["0.0.0.0", "192.0.2.7", "::", "depot.example"])
def test_any_address_but_this_machine_is_refused(empty_store: Store, host: str) -> None:
    with pytest.raises(ShedbookError, match=re.escape(f"not on {host!r}")):
        serve(empty_store, host=host)


def test_nothing_is_fetched_from_another_host(make_client: Client) -> None:
    document = make_client().get("/").get_data(as_text=True)
    addresses = re.findall(r"""(?:src|href)=["']([^"']+)["']""", document)
    assert len(addresses) > 8
    assert [address for address in addresses if not address.startswith("/")] == []


def test_every_script_and_style_of_the_document_is_there(make_client: Client) -> None:
    client = make_client()
    document = client.get("/").get_data(as_text=True)
    for address in re.findall(r"""(?:src|href)=["']([^"']+)["']""", document):
        with client.get(address) as answer:
            assert answer.status_code == 200, address


def test_document_names_its_language(make_client: Client) -> None:
    assert '<html lang="en">' in make_client().get("/").get_data(as_text=True)


def test_plotly_bundle_is_of_the_version_that_plotly_brings(make_client: Client) -> None:
    # To renew it after an update of plotly: `npm pack plotly.js-cartesian-dist-min@VERSION` with
    # the version that the assertion names, then copy package/plotly-cartesian.min.js into
    # dashboard/assets/. Its first lines are its licence note and stay.
    with make_client().get("/assets/plotly-cartesian.min.js") as answer:
        bundle = answer.get_data(as_text=True)
    package = plotly.__path__[0] + "/package_data/plotly.min.js"
    with open(package, encoding="utf-8") as file:
        brought = re.search(r"plotly\.js v([\d.]+)", file.read(200))
    ours = re.search(r"plotly\.js \(cartesian - minified\) v([\d.]+)", bundle[:200])
    assert brought is not None
    assert ours is not None
    assert ours[1] == brought[1]
    assert "Licensed under the MIT license" in bundle[:300]
    assert len(bundle) < 1_600_000
