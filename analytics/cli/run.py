"""Commands that run something: demo, serve. The only module that reaches for pages and demo."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analytics.cli.data import store_option
from analytics.cli.screen import console, plain_table, progress_line

if TYPE_CHECKING:
    import pandas as pd

    from analytics.answer import Answer
    from analytics.store import Store

HEADLINE_ROWS = 8
host_option = click.option(
    "--host", default="127.0.0.1", show_default=True, help="Loopback only: there are no users yet."
)
port_option = click.option("--port", default=8050, show_default=True, help="The first port to try.")
ready_option = click.option(
    "--until-ready", is_flag=True, help="Stop after the first page has answered."
)


@click.command()
@click.option(
    "--dir",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("shedbook-demo"),
    show_default=True,
    help="Where the demo lives; never your own store.",
)
@click.option("--locomotives", default=48, show_default=True, help="2 to 2000.")
@click.option("--years", default=5, show_default=True, help="1 to 10.")
@click.option("--seed", type=int, help="Other random numbers, another railway.")
@host_option
@port_option
@ready_option
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
def demo(folder: Path, locomotives: int, years: int, seed: int | None, **pages: Any) -> None:
    """Build the invented railway and open its pages.

    Three depots, two classes of diesel-electric locomotives, years of daily inspections. Kept in
    ./shedbook-demo and used again as it is.
    """
    from data_demo.build import build

    chosen = {} if seed is None else {"seed": seed}
    with progress_line() as tell:
        store = build(folder, locomotives=locomotives, years=years, progress=tell, **chosen)
        tell("working out the headline figures")
        _show_headlines(store)
    _open_pages(store, **pages)


@click.command()
@store_option
@host_option
@port_option
@ready_option
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
def serve(store_dir: Path, **pages: Any) -> None:
    """Open the pages of a store on this machine."""
    from analytics.store import Store

    _open_pages(Store.open(store_dir), **pages)


def _open_pages(store: Store, *, host: str, port: int, until_ready: bool, no_browser: bool) -> None:
    from dashboard.app import serve as serve_pages

    def tell(address: str) -> None:
        click.echo(f"\nPages: {address}\nStop with Ctrl+C.")
        if not (no_browser or until_ready) and _has_display():
            click.launch(address)

    serve_pages(store, host=host, port=port, until_ready=until_ready, on_ready=tell)


def _has_display() -> bool:
    return sys.platform in ("win32", "darwin") or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )


def _show_headlines(store: Store) -> None:
    """Print the three tables that say what the demo is about."""
    from analytics.answers import ask
    from analytics.scope import Scope

    scope = Scope()
    with store.read() as reader:
        rates = ask(reader, "mtbf", scope, by=("component",))
        back = ask(reader, "recurrence", scope, by=("component",))
        chains = ask(reader, "repeats", scope)
    often = rates.table.sort_values("failures", ascending=False)
    wanted = ["component", "failures", "mtbf", "mtbf_lower", "mtbf_upper"]
    _headline(
        "What fails most: days in service between failures of one position", rates, often[wanted]
    )
    known = back.table[back.table["findings"] >= 20].sort_values("rate", ascending=False)
    wanted = ["component", "findings", "repeats", "rate", "rate_lower", "rate_upper"]
    _headline("What comes back: chance of another finding within 30 days", back, known[wanted])
    wanted = ["locomotive", "component", "position", "length", "first", "last", "open"]
    _headline("The longest chains of repeats", chains, chains.table[wanted])


def _headline(title: str, answer: Answer, table: pd.DataFrame) -> None:
    screen = console()
    screen.print(f"\n{title} ({answer.basis.level:.0%} bounds)")
    rows = [list(row) for row in table.head(HEADLINE_ROWS).itertuples(index=False, name=None)]
    screen.print(plain_table([str(name) for name in table.columns], rows))
