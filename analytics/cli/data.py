"""Commands that bring data in: start a store, hand files in."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analytics.cli.options import store_option

if TYPE_CHECKING:
    from analytics.handin import FileReport, IngestReport
    from analytics.store import Store

REPORTED = ("file", "table", "rows", "accepted", "updated", "duplicate", "set_aside", "batch")
ROWS_SET_ASIDE = 3
_MOST_REASONS = 5
_WAIT_SECONDS = 600.0


@click.command()
@click.option(
    "--catalogue",
    type=click.Path(path_type=Path),
    help="A TOML file or folder of the depot's own; default: the catalogue that ships.",
)
@store_option
def init(store: Path, catalogue: Path | None) -> None:
    """Start an empty store.

    Its catalogue lies in the store's folder as TOML and is the depot's own to edit.
    """
    from analytics.catalogue.load import read_files, shipped_files
    from analytics.store import Store

    files = read_files(catalogue) if catalogue else shipped_files()
    made = Store.create(store, files)
    known = made.working_catalogue()
    click.echo(
        f"A store is in {made.root}: {len(known.components)} components, {len(known.classes)}"
        f" classes of locomotives (edit {made.root / 'catalogue'})."
    )
    click.echo(f"Hand files in with: shedbook ingest --store {store} FILE...")


@click.command()
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--covered-until",
    metavar="DATE",
    help="The files are complete up to here: no finding means none was made.",
)
@click.option("--strict", is_flag=True, help="Leave with status 3 when rows were set aside.")
@click.option("--json", "as_json", is_flag=True, help="Print where every row went as JSON.")
@store_option
def ingest(
    store: Path, files: tuple[Path, ...], covered_until: str | None, *, strict: bool, as_json: bool
) -> None:
    """Hand files in: the eight tables as CSV or Parquet, in any order.

    Every row ends as accepted, updated, duplicate or set aside with its reason. The same files
    again change nothing. Status 0 also when rows were set aside, unless --strict.
    """
    from analytics.scope import Scope
    from analytics.store import Store

    until = Scope.of(until=covered_until).until
    report = _hand_in(Store.open(store), files, until)
    if as_json:
        click.echo(json.dumps([_as_row(file) for file in report.files], indent=1))
    else:
        _show_report(report)
    set_aside = sum(file.set_aside for file in report.files)
    if strict and set_aside:
        click.get_current_context().exit(ROWS_SET_ASIDE)


def _hand_in(store: Store, files: tuple[Path, ...], covered_until: datetime | None) -> IngestReport:
    """Hand in at once, or say who is writing and wait for them."""
    from analytics.errors import StoreBusy
    from analytics.handin import ingest as hand_in
    from analytics.store.snapshots import describe_writer

    progress = progress_line()
    try:
        return hand_in(
            store, files, covered_until=covered_until, wait_seconds=0.05, progress=progress
        )
    except StoreBusy:
        click.echo(f"{describe_writer(store.root)}: waiting", err=True)
    return hand_in(
        store, files, covered_until=covered_until, wait_seconds=_WAIT_SECONDS, progress=progress
    )


def progress_line() -> Callable[[str], None] | None:
    """Return what tells how far it has got, one line on a terminal; nobody is told in a file."""
    if not sys.stderr.isatty():
        return None
    return lambda line: click.echo(f"  {line}", err=True)


def _as_row(file: FileReport) -> dict[str, Any]:
    return {name: getattr(file, name) for name in REPORTED}


def _show_report(report: IngestReport) -> None:
    from analytics.cli.columns import Shown
    from analytics.cli.screen import make_console, print_table

    columns = [
        Shown(
            name.replace("_", " "),
            tuple(_cell(getattr(file, name)) for file in report.files),
            numeric=name not in ("file", "table"),
            wraps=name == "file",
        )
        for name in REPORTED
        if name != "batch"
    ]
    print_table(make_console(sys.stdout), columns)
    if report.batch is None:
        click.echo("Nothing new: every row was held already, or set aside before.")
    else:
        click.echo(f"Batch {report.batch} is in.")
    for file in report.files:
        for note in file.notes:
            click.echo(f"- {file.file}: {note}")
    _show_reasons(report)


def _cell(value: object) -> str:
    return f"{value:,}".replace(",", "\u202f") if isinstance(value, int) else str(value)


def _show_reasons(report: IngestReport) -> None:
    """Show the most frequent reasons, each with its first row."""
    aside = report.set_aside
    if aside.empty:
        return
    reasons = aside.groupby("reason", sort=False).agg(
        rows=("reason", "size"), file=("file", "first"), row=("row_number", "first")
    )
    reasons = reasons.sort_values("rows", ascending=False, kind="stable")
    click.echo("Set aside:")
    for reason, found in reasons.head(_MOST_REASONS).iterrows():
        more = f" and {found['rows'] - 1} more" if found["rows"] > 1 else ""
        click.echo(f"- {found['file']}, row {found['row']}{more}: {reason}")
    left = len(reasons) - _MOST_REASONS
    if left > 0:
        click.echo(f"- and {left} other reasons")
