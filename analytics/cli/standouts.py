"""The command that names what stands out."""

from __future__ import annotations

from typing import Any

import click

from analytics.cli.figures import answer_command, question_command

_BY = ("locomotive", "locomotive,component", "position", "depot", "depot,component", "serial")


@question_command(
    "standouts",
    click.option(
        "--by",
        "words",
        metavar="WORDS",
        default="locomotive",
        show_default=True,
        help=f"One of: {'; '.join(_BY)}; series (parts whose serial begins alike).",
    ),
    click.option(
        "--rank",
        type=click.Choice(["ratio", "hours", "cost"]),
        default="ratio",
        show_default=True,
        help="Order: how far above its like, hours lost, or cost.",
    ),
    click.option(
        "--window",
        default="30d",
        show_default=True,
        help="A finding this soon after a closing belongs to the one before: 30d, 4w, 500h ...",
    ),
    click.option(
        "--funnel",
        is_flag=True,
        help="Each ratio beside the limits that chance alone keeps, by what was expected.",
    ),
)
def standouts(context: click.Context, **given: Any) -> None:
    """Name what has more trouble than its like, beyond chance.

    First findings are compared with what running time and age lead one to expect. A row stands out
    where chance is a poor explanation (q up to 0.10) and its true ratio is likely above 1.25.
    """
    words = tuple(word.strip() for word in given.pop("words").split(",") if word.strip())
    answer_command(context, given, words)
