"""The command on measured values: limits passed, and those that drift towards one."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command


@question_command(
    "readings",
    click.option(
        "--parameter", multiple=True, metavar="NAME", help="Keep this parameter; may be repeated."
    ),
    click.option("--points", is_flag=True, help="A row per reading, with its segment and limits."),
)
def readings(context: click.Context, **given: Any) -> None:
    """Which measured values are beyond a limit now, and which are heading for one.

    One row for each locomotive, parameter and running state, since it was last reset. The date is
    when the limit is reached if the value goes on as it did since then.
    """
    answer_command(context, given)
