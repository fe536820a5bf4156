"""Commands about renewal by plan: at which age, and how many spares."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command

_COST = click.FloatRange(min=0)


@question_command(
    "replace-age",
    click.option("--failure-cost", type=_COST, help="A failure; default: the mean on record."),
    click.option("--planned-cost", type=_COST, help="A renewal by plan; default: as on record."),
    click.option(
        "--day-cost", type=_COST, default=0.0, show_default=True,
        help="A day out of traffic, for the days down of a failure.",
    ),
    click.option("--curve", is_flag=True, help="The cost rate at each age."),
)  # fmt: skip
def replace_age(context: click.Context, **given: Any) -> None:
    """At which age to renew by plan, and what that saves against running to failure.

    Told only where the chance of a failure clearly rises with age and a failure costs more. The
    interval that a rule or the maker sets is never lengthened by this.
    """
    answer_command(context, given, ())


@question_command(
    "spares",
    click.option("--lead-time", default="60d", show_default=True, help="From order to arrival."),
    click.option(
        "--service", type=float, default=0.95, show_default=True,
        help="Chance that the stock is enough.",
    ),
)  # fmt: skip
def spares(context: click.Context, **given: Any) -> None:
    """How many parts will be needed in a lead time, and how many to keep for it.

    From the age of every part now. What is renewed by plan comes on top.
    """
    answer_command(context, given, ())
