"""Commands that look ahead, and the one that shows what looking ahead was worth."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command

_HORIZON = click.option(
    "--horizon", default="28d", show_default=True, metavar="28d|4w", help="How far to look ahead."
)


@question_command(
    "next-weeks",
    _HORIZON,
    click.option("--positions", is_flag=True, help="A row per position, the likeliest first."),
)
def next_weeks(context: click.Context, **given: Any) -> None:
    """How many defects to expect of each locomotive in the next weeks, and from what.

    From each position's age since its last renewal, how much the locomotive runs, and how often it
    fails beside its like. With what is expected if the worst were renewed now.
    """
    answer_command(context, given, ())


@question_command("look-closer")
def look_closer(context: click.Context, **given: Any) -> None:
    """What to give a second look on one locomotive at the next inspection: ten lines at most.

    What is open, what was closed of late, what is likelier than on others, values heading for a
    limit, what the season brings. It adds to the full inspection, it never replaces a step of it.
    """
    answer_command(context, given, ())


@question_command(
    "backtest",
    _HORIZON,
    click.option(
        "--cuts",
        type=click.IntRange(1, 60),
        default=10,
        show_default=True,
        help="At how many past dates to forecast; each takes a few seconds.",
    ),
    click.option("--calibration", is_flag=True, help="Chances told beside what came, by tenths."),
)
def backtest(context: click.Context, **given: Any) -> None:
    """How good the forecasts were at past dates, beside simpler ways to choose.

    At each date everything is estimated anew from what was known then, and held against what was
    found over the horizon.
    """
    answer_command(context, given, ())
