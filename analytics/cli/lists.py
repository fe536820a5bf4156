"""Commands that list what is on record: one row for each defect, position, reading or file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from analytics.cli.figures import answer_command, question_command


@question_command(
    "findings",
    click.option("--open", is_flag=True, help="Only what is still open, the gravest first."),
)
def findings(context: click.Context, **given: Any) -> None:
    """Which defects were found: one row for each, however often it was written down.

    What was put off or has no closing is open at the end of its locomotive's record, or at --until.
    """
    answer_command(context, given)


@question_command("ages")
def ages(context: click.Context, **given: Any) -> None:
    """How old what each position holds is, and how many of its kind last that long.

    Compared with all lives of the same class and component. Where the start is not known the age is
    at least what was seen of it.
    """
    answer_command(context, given)


@question_command("counters")
def counters(context: click.Context, **given: Any) -> None:
    """What the counters of engine hours and km showed: cleaned, the last reading of each day."""
    answer_command(context, given)


@question_command("batches")
def batches(context: click.Context, **given: Any) -> None:
    """What was handed in, when and by whom: the files of every batch and where their rows went.

    Filters and the period do not apply: every file is listed.
    """
    answer_command(context, given)


def list_rejects(store: Path, batch: int | None, given: dict[str, Any]) -> None:
    """Show the rows that are set aside, as `rejects --list`."""
    from analytics.answers import ask_reader
    from analytics.cli.show import Output, show
    from analytics.scope import Scope
    from analytics.store import Store

    output = Output.of(
        given["form"], out=given["out"], as_json=given["as_json"], with_basis=given["with_basis"]
    )
    with Store.open(store).read() as reader:
        answer = ask_reader(reader, "set_aside", Scope(), batch=batch)
    show(answer, output)
