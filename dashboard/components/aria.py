"""Attributes whose names are no Python names: for assistive technology, for style and script."""

from __future__ import annotations

from typing import Any


def aria(**attributes: str) -> dict[str, Any]:
    """Return `aria-*` attributes to spread into an element: `html.Div(..., **aria(label=x))`."""
    return {f"aria-{name}": value for name, value in attributes.items()}


def data(**attributes: str) -> dict[str, Any]:
    """Return `data-*` attributes to spread into an element."""
    return {f"data-{name}": value for name, value in attributes.items()}
