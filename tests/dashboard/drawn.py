"""What a page draws, asked for as a browser does and taken apart again."""

from __future__ import annotations

from typing import Any

from flask.testing import FlaskClient

from dashboard.serving import page_call, part_call


def post(client: FlaskClient, call: dict[str, Any]) -> list[Any]:
    answer = client.post("/_dash-update-component", json=call)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    (changed,) = answer.get_json()["response"].values()
    children: list[Any] = changed["children"]
    return children


def texts(node: Any) -> list[str]:
    """Every text of a drawn page, in order."""
    if isinstance(node, str):
        return [node]
    if isinstance(node, list):
        return [text for child in node for text in texts(child)]
    return texts(node["props"].get("children")) if isinstance(node, dict) else []


def ids(node: Any) -> list[Any]:
    """Every id of a drawn page."""
    if isinstance(node, list):
        return [found for child in node for found in ids(child)]
    if not isinstance(node, dict):
        return []
    own = [node["props"]["id"]] if "id" in node.get("props", {}) else []
    return own + ids(node.get("props", {}).get("children"))


def page(client: FlaskClient, path: str, query: str = "") -> str:
    return " ".join(texts(post(client, page_call(path, query))))


def part(client: FlaskClient, name: str, path: str, query: str = "") -> str:
    return " ".join(texts(post(client, part_call(name, path, query))))


def find(node: Any, kind: str) -> list[Any]:
    """Every element of one kind in a drawn page."""
    if isinstance(node, list):
        return [found for child in node for found in find(child, kind)]
    if not isinstance(node, dict):
        return []
    own = [node] if node.get("type") == kind else []
    return own + find(node.get("props", {}).get("children"), kind)


def links(node: Any) -> list[str]:
    """Every address that a drawn page leads to."""
    found = [one["props"].get("href") for kind in ("A", "Link") for one in find(node, kind)]
    return [href for href in found if href]
