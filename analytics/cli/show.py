"""An answer shown: as a table for reading, or as data with the basis beside it."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import click

from analytics.answer import Answer, Message, say
from analytics.cli.options import FORMATS
from analytics.cli.screen import show_table
from analytics.cli.texts import basis_lines
from analytics.errors import ScopeError


@dataclass(frozen=True, slots=True)
class Output:
    """Where an answer goes and in which format."""

    form: str
    out: Path | None
    with_basis: bool

    @classmethod
    def of(cls, form: str | None, *, out: Path | None, as_json: bool, with_basis: bool) -> Output:
        """Read the output options; `--out figures.csv` needs no `--format`.

        Raises
        ------
        ScopeError
            Where the options contradict each other.
        """
        ending = out.suffix.removeprefix(".").lower() if out else ""
        guessed = ending if ending in FORMATS else "table"
        if form is None and not as_json and ending not in (*FORMATS, "", "txt"):
            known = ", ".join(f".{name}" for name in FORMATS if name != "table")
            raise ScopeError(
                f"{out} ends in .{ending}, which is no format: end it in {known} or .txt, or say "
                "--format."
            )
        chosen = "json" if as_json else form or guessed
        if as_json and form not in (None, "json"):
            raise ScopeError(f"--json and --format {form} contradict each other; give one.")
        if with_basis and chosen != "json":
            raise ScopeError(f"--with-basis goes with --format json, not with {chosen}.")
        return cls(chosen, out, with_basis)


def show(answer: Answer, output: Output) -> None:
    """Write an answer where it was asked for.

    With csv, json and parquet standard output is the table alone; reading, basis and notes go to
    standard error.

    Raises
    ------
    ScopeError
        For binary data to a terminal, or a file that cannot be written.
    """
    try:
        if output.form == "table":
            _show_for_reading(answer, output.out)
        else:
            _write(answer, output)
    except OSError as error:
        if output.out is None:
            raise
        raise ScopeError(f"{output.out} cannot be written: {error.strerror}.") from error


def _show_for_reading(answer: Answer, out: Path | None) -> None:
    if out is None:
        show_table(answer, sys.stdout)
        return
    with out.open("w", encoding="utf-8") as file:
        show_table(answer, file)
    _told(answer, out)


def _write(answer: Answer, output: Output) -> None:
    from analytics.exports import (
        write_answer,
    )  # spreadsheets and Parquet only when they are asked for

    if output.out is not None:
        write_answer(answer, output.out, output.form, with_basis=output.with_basis)
        _told(answer, output.out)
    elif output.form in ("xlsx", "parquet") and sys.stdout.isatty():
        raise ScopeError(f"{output.form} is not for a terminal: name a file with --out.")
    else:
        sys.stdout.flush()
        write_answer(answer, sys.stdout.buffer, output.form, with_basis=output.with_basis)
        sys.stdout.buffer.flush()
    if output.form != "xlsx" and not output.with_basis:
        notes = [say(note) for note in answer.notes]
        for line in (say(answer.reading), *basis_lines(answer), *notes):
            click.echo(line, err=True)


def _told(answer: Answer, out: Path) -> None:
    click.echo(say(Message("show.written", rows=len(answer.table), file=str(out))), err=True)
