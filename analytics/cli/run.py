"""Commands that run something: the demo, the pages, the clock.

The only module of analytics that may import the dashboard and the invented railway.
"""

from __future__ import annotations

import os
import sys
import webbrowser
from collections.abc import Callable
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

import click

from analytics.cli.options import store_option

if TYPE_CHECKING:
    from analytics.store import Store

FIRST_PORT = 8050
_HEADLINES = (
    ("What fails most often", "mtbf", ("component",), 6),
    ("What keeps coming back", "repeats", (), 6),
    ("What comes back after it was closed", "recurrence", ("component",), 6),
)

# Rules of intake in a few words; those not named here are shown as they are called.
_REASONS = {
    "counter": "a counter with a digit too many",
    "disagree": "a row typed twice with other values",
    "future": "a date in the future",
    "missing": "a cell left empty",
    "order": "closed before it was found",
    "position": "no such position",
    "totals-row": "a totals row",
    "unknown-name": "a name that is not in the catalogue",
}


@click.command()
@click.option(
    "--dir",
    "folder",
    type=click.Path(path_type=Path),
    default=Path("shedbook-demo"),
    show_default="./shedbook-demo",
    help="The demo's folder; nothing is written anywhere else.",
)
@click.option("--locomotives", type=int, default=48, show_default=True, help="Size of the fleet.")
@click.option("--years", type=int, default=5, show_default=True, help="Length of the record.")
@click.option("--seed", type=int, help="Draw another railway of the same kind.")
@click.option("--port", type=int, default=FIRST_PORT, show_default=True, help="First port to try.")
@click.option("--until-ready", is_flag=True, help="Stop after the first page has answered.")
@click.option("--no-browser", is_flag=True, help="Open no browser.")
def demo(
    folder: Path, port: int, *, until_ready: bool, no_browser: bool, **size: int | None
) -> None:
    """Build an invented railway, print three tables, open its pages.

    Made once and used again. Stop with Ctrl+C.
    """
    from analytics.cli.data import progress_line
    from data_demo.build import build

    given = {name: value for name, value in size.items() if value is not None}
    store = build(folder, **given, progress=progress_line())
    _print_headlines(store)
    _print_set_aside(store, folder)
    _serve(store, port=port, until_ready=until_ready, browser=not no_browser)


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only.")
@click.option("--port", type=int, default=FIRST_PORT, show_default=True, help="First port to try.")
@click.option("--until-ready", is_flag=True, help="Stop after the first page has answered.")
@store_option
def serve(store: Path, host: str, port: int, *, until_ready: bool) -> None:
    """Show the pages of a store on this machine. Stop with Ctrl+C."""
    from analytics.store import Store

    _serve(Store.open(store), host=host, port=port, until_ready=until_ready, browser=False)


@click.command()
@click.option(
    "--ingest", "of_ingest", is_flag=True, help="A large file beside the engine's typed load of it."
)
@click.option("--rows", type=int, default=1_000_000, show_default=True, help="Rows of the file.")
@click.option("--fits", "of_fits", is_flag=True, help="Laws of life, beside a loop of lifelines.")
@click.option(
    "--groups", type=click.IntRange(1), default=2_000, show_default=True, help="Groups fitted."
)
@click.option(
    "--many",
    type=click.IntRange(0),
    default=200_000,
    show_default=True,
    help="Groups of the second run, for growth; 0: none.",
)
@click.option("--pages", "of_pages", is_flag=True, help="Every callback of every page.")
@click.option(
    "--store",
    "stores",
    type=click.Path(path_type=Path),
    multiple=True,
    help="For --pages: the pages of this store; may be repeated. Default: a demo made for it.",
)
@click.option(
    "--honesty", "of_honesty", is_flag=True, help="Whether bounds hold the truth of made-up fleets."
)
@click.option(
    "--minutes",
    type=click.FloatRange(0),
    default=10.0,
    show_default=True,
    help="For --honesty: about how long; sets the number of fleets.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="For --honesty.")
@click.option(
    "--plan", "of_plan", is_flag=True, help="Plans of made-up workshops, beside the obvious ones."
)
@click.option(
    "--instances",
    type=click.IntRange(1),
    default=50,
    show_default=True,
    help="For --plan: how many of 48 locomotives and 8 weeks.",
)
@click.option(
    "--large/--no-large",
    default=True,
    show_default=True,
    help="For --plan: 500 locomotives and 12 weeks too.",
)
@click.option(
    "--plan-years",
    "of_plan_years",
    is_flag=True,
    help="Two years of the demo's known truth: the plan, a rule of thumb, run to failure.",
)
@click.option(
    "--runs", type=click.IntRange(2), default=8, show_default=True, help="For --plan-years."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Write the figures of --fits, --pages, --honesty, --plan or --plan-years as JSON.",
)
def bench(
    rows: int,
    groups: int,
    many: int,
    out: Path | None,
    stores: tuple[Path, ...],
    *,
    minutes: float,
    seed: int,
    **of: int,
) -> None:
    """Time this program on this machine, or try its bounds, with made-up data.

    No store is changed.
    """
    if not any(on for name, on in of.items() if name.startswith("of_")):
        raise click.UsageError(
            "name what to time: --ingest, --fits, --pages, --honesty, --plan, or --plan-years",
            click.get_current_context(),
        )
    if of["of_ingest"]:
        from data_demo.bench.ingest import run

        run(rows)
    if of["of_fits"]:
        from data_demo.bench.fits import run as run_fits

        run_fits(groups, many=many, out=out)
    if of["of_pages"]:
        from data_demo.bench.pages import run as run_pages

        run_pages(stores, out=out)
    if of["of_honesty"]:
        from data_demo.bench.honesty import run as run_honesty

        run_honesty(minutes, seed=seed, out=out)
    if of["of_plan"]:
        from data_demo.bench.plan import run as run_plan

        run_plan(of["instances"], large=bool(of["large"]), out=out)
    if of["of_plan_years"]:
        from data_demo.bench.plan_years import run as run_years

        run_years(None, runs=of["runs"], seed=seed, out=out)


def _print_headlines(store: Store) -> None:
    from analytics.answers import ask_reader
    from analytics.cli.screen import show_headline
    from analytics.scope import Scope

    with store.read() as reader:
        for title, question, by, rows in _HEADLINES:
            click.echo(f"{title}  (shedbook {question})")
            answer = ask_reader(reader, question, Scope(), by=by)
            show_headline(answer, sys.stdout, most_rows=rows)
    sys.stdout.flush()


def _print_set_aside(store: Store, folder: Path) -> None:
    """Say how many rows of the files were set aside, the commonest reasons, and how to mend."""
    live = "JOIN batch USING (batch) WHERE withdrawn_at IS NULL"
    with store.read() as reader:
        count = f"SELECT sum(rows), count(*) FROM batch_file {live}"
        rows, files = reader.cursor.execute(count).fetchall()[0]
        found = reader.cursor.execute(
            "SELECT rule, count(*), arg_min(name, place), arg_min(row_number, place), "
            "arg_min(reason, place) FROM (SELECT *, (batch, file, row_number) AS place "
            f"FROM set_aside JOIN batch_file USING (batch, file) {live}) "
            "GROUP BY rule ORDER BY count(*) DESC, rule"
        ).fetchall()
    if not found:
        return
    aside = sum(count for _, count, *_ in found)
    most = ", ".join(f"{_REASONS.get(rule, rule)} ({count})" for rule, count, *_ in found[:4])
    name, row, reason = found[0][2:]
    of_rows = f"{rows:,}".replace(",", "\u202f")
    click.echo(f"Set aside: {aside} of {of_rows} rows in {files} files and sheets.")
    click.echo(f"Most often: {most}.")
    click.echo(f"For example {name}, row {row}: {reason}")
    click.echo(f"To write them out and mend them: shedbook rejects --store {quote(str(folder))}")
    sys.stdout.flush()


def _serve(
    store: Store, *, port: int, until_ready: bool, browser: bool, host: str = "127.0.0.1"
) -> None:
    from dashboard.app import serve as serve_pages

    try:
        serve_pages(
            store,
            host=host,
            port=port,
            until_ready=until_ready,
            on_ready=_ready(store, until_ready=until_ready, browser=browser),
        )
    except KeyboardInterrupt:
        click.echo("\nstopped.")


def _ready(store: Store, *, until_ready: bool, browser: bool) -> Callable[[str], None]:
    def tell(address: str) -> None:
        click.echo(f"Pages of {store.root}: {address}")
        click.echo("The first page answers." if until_ready else "Stop with Ctrl+C.")
        sys.stdout.flush()
        if browser and not until_ready and _has_display():
            webbrowser.open(address)

    return tell


def _has_display() -> bool:
    """Tell whether a browser would be seen by anybody."""
    if os.environ.get("CI"):
        return False
    shown = os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    return bool(shown) or sys.platform in ("win32", "darwin")
