"""Commands that bring data in: init, ingest."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analytics.cli.screen import console, plain_table, progress_line

if TYPE_CHECKING:
    from analytics.handin import IngestReport

EXIT_SET_ASIDE = 3
REASONS_SHOWN = 8
store_option = click.option(
    "--store",
    "store_dir",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="SHEDBOOK_STORE",
    default=Path("shedbook-store"),
    show_default="$SHEDBOOK_STORE, else ./shedbook-store",
    help="The store folder.",
)


@click.command()
@store_option
@click.option(
    "--catalogue",
    type=click.Path(path_type=Path, exists=True),
    help="A catalogue of your own (TOML file, or a folder of them) in place of the shipped one.",
)
def init(store_dir: Path, catalogue: Path | None) -> None:
    """Start a store.

    The catalogue is copied into the store's folder `catalogue/`, where you can edit it: the next
    ingest takes it up.
    """
    from analytics.catalogue.load import read_files, shipped_files
    from analytics.store import Store

    files = read_files(catalogue) if catalogue else shipped_files()
    store = Store.create(store_dir, files)
    with store.read() as reader:
        found = reader.catalogue
        click.echo(
            f"Started a store in {store_dir}: {len(found.components)} components, "
            f"{len(found.classes)} classes of locomotives."
        )
    click.echo(f"Next: shedbook ingest --store {store_dir} FILE...")


@click.command()
@click.argument(
    "files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path)
)
@store_option
@click.option(
    "--covered-until",
    metavar="DATE",
    help="The files are complete up to this date for every locomotive they name.",
)
@click.option("--strict", is_flag=True, help="Exit with 3 when rows were set aside.")
@click.option("--json", "as_json", is_flag=True, help="Print the counts per file as JSON.")
def ingest(
    files: tuple[Path, ...],
    store_dir: Path,
    covered_until: str | None,
    strict: bool,
    as_json: bool,
) -> int:
    """Hand in files: locomotives, usage, inspections, findings, work and the other tables.

    Each table is recognised by its headings. Every row is accepted, updates an earlier one, is a
    duplicate, or is set aside with a reason; a batch is taken whole or not at all.
    """
    from analytics.handin import ingest as hand_in
    from analytics.store import Store

    store = Store.open(store_dir)
    with progress_line() as tell:
        report = hand_in(store, files, covered_until=_instant(covered_until), progress=tell)
    if as_json:
        click.echo(json.dumps(_counts(report), ensure_ascii=False, indent=1))
    else:
        _show(report)
    set_aside = any(file.set_aside for file in report.files)
    return EXIT_SET_ASIDE if strict and set_aside else 0


def _instant(text: str | None) -> datetime | None:
    from analytics.scope import Scope

    return Scope.of(until=text).until if text else None


def _counts(report: IngestReport) -> list[dict[str, object]]:
    names = ("file", "table", "rows", "accepted", "updated", "duplicate", "set_aside", "batch")
    return [{name: getattr(file, name) for name in names} for file in report.files]


def _show(report: IngestReport) -> None:
    names = ["file", "table", "rows", "accepted", "updated", "duplicate", "set_aside"]
    rows = [[row[name] for name in names] for row in _counts(report)]
    title = f"Batch {report.batch}" if report.batch else "Nothing new: the store is as it was"
    screen = console()
    screen.print(title, highlight=False)
    screen.print(plain_table([name.replace("_", " ") for name in names], rows))
    for file in report.files:
        for note in file.notes:
            screen.print(f"{file.file}: {note}", highlight=False, markup=False)
    aside = report.set_aside
    if not len(aside):
        return
    screen.print(f"\n{len(aside)} rows set aside; by reason:", highlight=False)
    grouped = aside.groupby(["table", "rule"], sort=False)
    for (table, _rule), rows_aside in list(grouped)[:REASONS_SHOWN]:
        first = rows_aside.iloc[0]
        screen.print(
            f"  {len(rows_aside)} of {table}, first {first['file']} row {first['row_number']}: "
            f"{first['reason']}",
            highlight=False,
            markup=False,
        )
    if grouped.ngroups > REASONS_SHOWN:
        screen.print(f"  and {grouped.ngroups - REASONS_SHOWN} more reasons.", highlight=False)
