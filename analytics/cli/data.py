"""Commands that bring data in: start a store, hand files in, mend, withdraw, fill in a workbook."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click
from click.core import ParameterSource

from analytics.cli.options import form_options, store_option

if TYPE_CHECKING:
    from analytics.handin import FileReport, GivenBack, IngestReport, Withdrawal
    from analytics.store import Store

REPORTED = ("file", "table", "rows", "accepted", "updated", "duplicate", "set_aside", "batch")
ROWS_SET_ASIDE = 3
Result = TypeVar("Result")
_MOST_REASONS = 5
_MOST_NAMES = 10
_WAIT_SECONDS = 600.0

who_option = click.option(
    "--who", metavar="NAME", help="Who does this; default: the name signed in with."
)


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
    "--mapping",
    type=click.Path(path_type=Path),
    metavar="TOML",
    help="How the files' own headings and codes turn into ours; `shedbook map` proposes one.",
)
@click.option(
    "--covered-until",
    metavar="DATE",
    help="The files are complete up to here: no finding means none was made.",
)
@who_option
@click.option("--strict", is_flag=True, help="Leave with status 3 when rows were set aside.")
@click.option("--json", "as_json", is_flag=True, help="Print where every row went as JSON.")
@store_option
def ingest(
    store: Path, files: tuple[Path, ...], *, strict: bool, as_json: bool, **given: Any
) -> None:
    """Hand files in: CSV, XLSX, Parquet or JSON lines, folders and patterns, in any order.

    Every row ends as accepted, updated, duplicate or set aside with its reason. The same files
    again change nothing. Status 0 also when rows were set aside, unless --strict.
    """
    from analytics.scope import Scope
    from analytics.store import Store

    until = Scope.of(until=given["covered_until"]).until
    report = _hand_in(
        Store.open(store),
        files,
        mapping=given["mapping"],
        covered_until=until,
        who=given["who"] or name_of_user(),
    )
    if as_json:
        click.echo(json.dumps([_as_row(file) for file in report.files], indent=1))
    else:
        _show_report(report)
    set_aside = sum(file.set_aside for file in report.files)
    if strict and set_aside:
        click.get_current_context().exit(ROWS_SET_ASIDE)


def _hand_in(store: Store, files: tuple[Path, ...], **given: Any) -> IngestReport:
    """Hand in at once, or say who is writing and wait for them."""
    from analytics.handin import ingest as hand_in

    return _or_wait(store, partial(hand_in, store, files, progress=progress_line(), **given))


def _or_wait(store: Store, write: Callable[..., Result]) -> Result:
    """Write at once, or say who is writing and wait for them."""
    from analytics.errors import StoreBusy
    from analytics.store.snapshots import describe_writer

    try:
        return write(wait_seconds=0.05)
    except StoreBusy:
        click.echo(f"{describe_writer(store.root)}: waiting", err=True)
    return write(wait_seconds=_WAIT_SECONDS)


def name_of_user() -> str:
    """Return the name that this program runs under, for the record of who did what."""
    from getpass import getuser

    try:
        return getuser()
    except (OSError, KeyError, ImportError):  # an account without a name, as in some containers
        return "command line"


def progress_line() -> Callable[[str], None] | None:
    """Return what tells how far it has got, one line on a terminal; nobody is told in a file."""
    if not sys.stderr.isatty():
        return None
    started = time.monotonic()

    def tell(line: str) -> None:
        click.echo(f"  {time.monotonic() - started:5.1f} s  {line}", err=True)

    return tell


@click.command("map")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="TOML",
    help="Write to this file; an existing one is never overwritten.",
)
@store_option
def propose(store: Path, file: Path, out: Path | None) -> None:
    """Propose a mapping for a file with headings and codes of its own.

    Each line says how sure it is and why; lines it is not sure of are commented out. Look through
    it, then hand in with `shedbook ingest --mapping`. Nothing is applied by itself.
    """
    from analytics.errors import InputError
    from analytics.intake.propose import proposal_text, propose_mapping
    from analytics.store import Store
    from analytics.store.current import current_sql

    if out and out.exists():
        raise InputError(f"{str(out)!r} is there already; name another file with --out.")
    opened = Store.open(store)
    register = f"SELECT locomotive FROM ({current_sql('locomotives')})"
    with opened.read() as reader:
        locomotives = {str(name) for (name,) in reader.cursor.execute(register).fetchall()}
    text = proposal_text(propose_mapping(file, opened.working_catalogue(), locomotives=locomotives))
    if out:
        try:
            out.write_text(text, encoding="utf-8")
        except OSError as error:
            raise InputError(f"{str(out)!r} cannot be written: {error.strerror}.") from error
        click.echo(f"Look through {out}, then: shedbook ingest {file} --mapping {out}")
    else:
        click.echo(text, nl=not text.endswith("\n"))


map = propose  # the word on the command line


@click.command()
@click.option("--batch", type=int, metavar="N", help="The rows of this batch, mended or not.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    show_default="./set-aside",
    metavar="FOLDER",
    help="Where to write; nothing there is overwritten. With --list: a file.",
)
@click.option("--list", "listed", is_flag=True, help="List the rows instead, with their reasons.")
@form_options
@store_option
def rejects(
    store: Path, batch: int | None, *, listed: bool, out: Path | None, **shown: Any
) -> None:
    """Write out the rows set aside, to be mended and handed in again.

    One file for each input file, under its name, in its own columns and format, with a last column
    that says why. A row counts as mended when its file's name is handed in again: what is set aside
    then is listed in its place.
    """
    from analytics.cli.lists import list_rejects
    from analytics.handin import rejects as write_rejects
    from analytics.store import Store

    if listed:
        list_rejects(store, batch, {"out": out} | shown)
        return
    if any(shown.values()):
        raise click.UsageError("--format, --json and --with-basis go with --list.")
    folder = out or Path("set-aside")
    _show_rejects(write_rejects(Store.open(store), folder, batch=batch), batch)


def _show_rejects(files: list[GivenBack], batch: int | None) -> None:
    if not files:
        of = "" if batch is None else f" of batch {batch}"
        click.echo(f"No row{of} is set aside.")
        return
    for file in files:
        mapped = "; it came in by a mapping: hand it in with the same one" if file.mapped else ""
        click.echo(f"{file.path}: {_many(file.rows, 'row')} of {file.file}{mapped}")
        if file.left:
            click.echo(
                f"- {_many(file.left, 'row')} of earlier hand-ins under this name not listed: "
                "mended since, or see --batch."
            )
    click.echo("Mend the rows and hand the files in again, under the same names.")


@click.command()
@click.argument("batch", type=int, metavar="BATCH")
@who_option
@store_option
def withdraw(store: Path, batch: int, who: str | None) -> None:
    """Take a batch back: its rows stay on record but count no longer.

    What it had corrected counts again as before; the same files may be handed in again. `shedbook
    ingest` says the number of each batch.
    """
    from analytics.handin import withdraw as take_back
    from analytics.store import Store

    opened = Store.open(store)
    done = _or_wait(opened, partial(take_back, opened, batch, who=who or name_of_user()))
    _show_withdrawal(done)


def _show_withdrawal(done: Withdrawal) -> None:
    click.echo(f"Batch {done.batch} is withdrawn ({_first_names(done.files)}).")
    click.echo(f"- {_many(done.rows, 'row')} of it no longer counted")
    if done.restored:
        click.echo(f"- {_many(done.restored, 'earlier version')} counted again in their place")
    if done.set_aside:
        click.echo(f"- {_many(done.set_aside, 'row')} set aside of it no longer listed")
    click.echo(f"- histories made anew: {_many(done.locomotives, 'locomotive')}")
    if done.off_register:
        click.echo(
            "- not on the register any more, so that none of their rows counts: "
            + _first_names(done.off_register)
        )


def _first_names(names: Sequence[str]) -> str:
    more = len(names) - _MOST_NAMES
    return ", ".join(names[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


@click.command()
@click.option(
    "--language",
    type=click.Choice(["en", "hu"]),
    default="en",
    show_default=True,
    help="Of the explanations; headings and names stay as they are.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("shedbook-template.xlsx"),
    show_default="./shedbook-template.xlsx",
    metavar="FILE",
    help="The workbook to make; an existing one is never overwritten.",
)
@store_option
@click.pass_context
def template(context: click.Context, store: Path, language: str, out: Path) -> None:
    """Write a workbook to fill in: a sheet for each table, lists to choose from, explanations.

    The lists offer what the store's catalogue has; without a store, the catalogue that ships.
    """
    from analytics.catalogue.load import shipped_catalogue
    from analytics.intake.template import write_template
    from analytics.store import Store

    named = context.get_parameter_source("store") is not ParameterSource.DEFAULT
    if named or (store / "CURRENT").is_file():
        catalogue, whose = Store.open(store).working_catalogue(), f"the catalogue of {store}"
    else:
        catalogue, whose = shipped_catalogue(), "the catalogue that ships"
    write_template(out, catalogue, language=language)
    click.echo(f"{out}: lists of {whose}. Fill in what you have and hand it in:")
    click.echo(f"shedbook ingest {out}")


def _many(number: int, word: str) -> str:
    return f"{_cell(number)} {word}{'' if number == 1 else 's'}"


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
        rows = sum(file.rows for file in report.files)
        held = "every row was held already, or set aside before."
        click.echo(f"Nothing new: {held if rows else 'there are headings, but no rows.'}")
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
    click.echo("All of them, each row with its reason, to be mended: shedbook rejects")
