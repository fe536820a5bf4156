"""Commands that set one time against another: two rates, time up against time down."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command
from analytics.cli.options import GROUPS_OF_AGE, by_option


@question_command(
    "compare",
    by_option(*GROUPS_OF_AGE),
    click.option("--at", metavar="DATE", help="Before this date against from it on."),
    click.option(
        "--span", metavar="28d|4w", help="The last days up to the data cut against those before."
    ),
    click.option(
        "--between",
        type=click.Choice(["class", "depot"]),
        help="Each pair; above four, each against all others.",
    ),
    click.option(
        "--modification",
        metavar="NAME",
        help="Before against with it, at each locomotive's own date.",
    ),
)
def compare(context: click.Context, **given: Any) -> None:
    """Whether two failure rates differ: before and after, class against class, depot against depot.

    Give one of --at, --span, --between, --modification. The ratio is the second rate over the
    first, with exact bounds, wider where locomotives differ; q allows for the number of rows.
    """
    answer_command(context, given)


@question_command(
    "availability",
    by_option("class", "depot", "locomotive", "month"),
    click.option("--list", "as_list", is_flag=True, help="One row for each down interval."),
)
def availability(context: click.Context, **given: Any) -> None:
    """How much of the time locomotives were fit for traffic, and how long it took to make them so.

    --list shows each time one was down, those still down first.
    """
    answer_command(context, given)
