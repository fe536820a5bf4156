"""How long the server takes for every callback of every page, cold and warm.

A callback is posted as a browser posts it, through the server's own test client: everything but the
network. *Cold* is with no answer kept, all modules imported; *warm* with every answer kept on disk.
The page of one thing is measured for several: the components with most failures, the locomotives
with most findings. Beside them stands a callback that answers one row and does nothing else, timed
in the same run, so that two machines can be compared.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

import numpy as np
from rich.console import Console
from rich.table import Table

import analytics
import dashboard
from analytics.catalogue.load import shipped_files
from analytics.store import Store
from dashboard.app import create_app
from dashboard.bare import bare_call, create_bare_app
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from dashboard.record import count_findings
from dashboard.serving import page_call, part_call
from dashboard.settings import Settings
from dashboard.urls import LISTS, page_url
from data_demo.build import build

if TYPE_CHECKING:
    from flask.testing import FlaskClient

FRAME = "frame"
COMPONENTS, LOCOMOTIVES = 3, 2
REPEATS = 15
_BARE_REPEATS = 200
_MOST_FINDINGS = (
    "SELECT locomotive FROM history.episode GROUP BY locomotive"
    " ORDER BY sum(findings) DESC, locomotive LIMIT ?"
)


@dataclass(frozen=True, slots=True)
class Timed:
    """One callback of one page: milliseconds."""

    page: str
    part: str
    cold_ms: float
    warm_p50_ms: float
    warm_p95_ms: float
    kilobytes: float


def run(stores: Sequence[Path] = (), *, out: Path | None = None) -> dict[str, Any]:
    """Time the pages of each store, or of a railway of 48 locomotives and 5 years made for it.

    Parameters
    ----------
    stores
        Folders of stores; only answers are kept in their `cache`, as when they are served.
    out
        Where to write the figures as JSON.

    Returns
    -------
    dict
        `bare` and, by store, `parts` and the 95 % points over all parts, `cold_p95_ms` and
        `warm_p95_ms`.
    """
    with TemporaryDirectory(prefix="shedbook-bench-") as folder:
        _import_everything(Path(folder) / "empty")
        opened = [Store.open(path) for path in stores] or [
            build(Path(folder) / "rail", locomotives=48, years=5)
        ]
        found: dict[str, Any] = {"bare": _time_bare(), "stores": {}}
        for store in opened:
            name = str(store.root) if stores else "48 locomotives, 5 years"
            found["stores"][name] = _summary(_time_pages(store))
            _print(name, found["stores"][name], found["bare"])
    if out:
        out.write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
    return found


def _import_everything(folder: Path) -> None:
    """Load what a server has loaded after its first pages: every module, every part drawn once."""
    for package in (analytics, dashboard):
        for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}."):
            importlib.import_module(module.name)
    importlib.import_module("lifelines")
    empty = Store.create(folder, shipped_files())
    client = _client(empty, cache=False)
    for _, _, call in _calls(empty):
        _post(client, call)


def _client(store: Store, *, cache: bool) -> FlaskClient:
    client: FlaskClient = create_app(store, Settings(cache=cache)).server.test_client()
    return client


def _calls(store: Store) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Yield page, part and what is posted, for every part of every page."""
    with store.read() as reader:
        counts = count_findings(reader)
        most = sorted(counts, key=lambda name: (-counts[name][1], name))[:COMPONENTS]
        rows = reader.cursor.execute(_MOST_FINDINGS, [LOCOMOTIVES]).fetchall() if counts else []
        some = next(iter(reader.catalogue.components))
    names = {"component": most or [some], "locomotive": [str(row[0]) for row in rows]}
    for page, kind in PAGES.items():
        for name in [""] if page in LISTS else names[page]:
            path, title = page_url(page, name), f"{page} {name}".rstrip()
            yield title, FRAME, page_call(path)
            for part in (FACTS, *kind.sections):
                yield title, part, part_call(part, path)


def _time_pages(store: Store) -> list[Timed]:
    cold, warm = _client(store, cache=False), _client(store, cache=True)
    timed: list[Timed] = []
    for page, part, call in _calls(store):
        took, size = _post(cold, call)
        _post(warm, call)  # keeps the answer
        again = [_post(warm, call)[0] for _ in range(REPEATS)]
        middle, high = np.percentile(again, [50, 95])
        print(f"{page}, {part}: {took:.0f} ms cold, {middle:.0f} ms warm", file=sys.stderr)
        timed.append(Timed(page, part, took, float(middle), float(high), size / 1e3))
    return timed


def _time_bare() -> dict[str, float]:
    client = create_bare_app().server.test_client()
    took = [_post(client, bare_call())[0] for _ in range(_BARE_REPEATS)][1:]
    middle, high = np.percentile(took, [50, 95])
    return {"p50_ms": float(middle), "p95_ms": float(high)}


def _post(client: FlaskClient, call: dict[str, Any]) -> tuple[float, int]:
    """Return milliseconds and bytes of one callback.

    Raises
    ------
    RuntimeError
        If it did not answer as it should.
    """
    start = time.perf_counter()
    answer = client.post("/_dash-update-component", json=call)
    content = answer.get_data()
    took = 1e3 * (time.perf_counter() - start)
    if answer.status_code != 200 or b'"className":"error"' in content:
        raise RuntimeError(f"a callback failed ({answer.status_code}): {call}")
    return took, len(content)


def _summary(timed: Sequence[Timed]) -> dict[str, Any]:
    cold = [one.cold_ms for one in timed]
    return {
        "parts": [asdict(one) for one in timed],
        "cold_p95_ms": float(np.percentile(cold, 95)),
        "cold_p50_ms": float(np.percentile(cold, 50)),
        "warm_p95_ms": float(np.percentile([one.warm_p95_ms for one in timed], 95)),
        "warm_p50_ms": float(np.percentile([one.warm_p50_ms for one in timed], 50)),
    }


def _print(name: str, found: dict[str, Any], bare: dict[str, float]) -> None:
    table = Table(title=name, title_justify="left", box=None)
    table.add_column("page", no_wrap=True)
    table.add_column("part", no_wrap=True)
    for heading in ("cold ms", "warm p50 ms", "warm p95 ms", "kB"):
        table.add_column(heading, justify="right")
    for one in found["parts"]:
        numbers = (one["cold_ms"], one["warm_p50_ms"], one["warm_p95_ms"], one["kilobytes"])
        table.add_row(one["page"], one["part"], *(f"{number:.1f}" for number in numbers))
    console = Console(file=sys.stdout, highlight=False, soft_wrap=True)
    console.print(table)
    console.print(
        f"95 % of {len(found['parts'])} parts are done within {found['cold_p95_ms']:.0f} ms cold "
        f"and {found['warm_p95_ms']:.0f} ms warm; half of them within {found['cold_p50_ms']:.0f} "
        f"and {found['warm_p50_ms']:.0f} ms. A callback of one bare row: {bare['p50_ms']:.1f} ms, "
        f"95 % within {bare['p95_ms']:.1f} ms."
    )
