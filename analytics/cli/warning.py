"""The command that warns early."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command


@question_command(
    "warnings",
    click.option(
        "--false-alarms",
        type=click.FloatRange(0, min_open=True),
        default=1.0,
        show_default=True,
        help="How many false alarms a month to put up with, over all charts together.",
    ),
    click.option(
        "--all", "all_charts", is_flag=True, help="List quiet charts and those that cannot run too."
    ),
    click.option("--weeks", "weekly", is_flag=True, help="A row per chart and week, for drawing."),
)
def warnings(context: click.Context, **given: Any) -> None:
    """Name what is found more often of late than before.

    First findings a week of each component and class are added up against what the two years before
    led one to expect. An alarm means a rate near twice the usual one; it stays until the rate is
    back.
    """
    answer_command(context, given, ())
