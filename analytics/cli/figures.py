"""Commands that answer a question: one for each, all with the same filters and formats."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from analytics.cli.options import (
    GROUPS_OF_AGE,
    GROUPS_OF_LIVES,
    by_option,
    output_options,
    scope_options,
    store_option,
    take_groups,
    take_scope,
    with_options,
)

_WINDOW = with_options(
    click.option("--window", default="30d", show_default=True, help="30d, 4w, 500h or 2000km."),
    click.option("--same-defect", is_flag=True, help="Only the same defect counts as come back."),
)


def question_command(name: str, *options: Callable[[Any], Any]) -> Callable[[Any], click.Command]:
    """Make a command of a question: its own options first, then filters, then output."""
    return with_options(
        click.command(name),
        *options,
        scope_options,
        output_options,
        store_option,
        click.pass_context,
    )


def answer_command(
    context: click.Context, given: dict[str, Any], by: tuple[str, ...] | None = None
) -> None:
    """Ask the question that the command is named for, and show the answer.

    `by` are the group words of a question that has its own.
    """
    from analytics.answers import ask_reader
    from analytics.cli.show import Output, show
    from analytics.store import Store

    store, scope = given.pop("store"), take_scope(given)
    by = take_groups(given) if by is None else by
    output = Output.of(
        given.pop("form"),
        out=given.pop("out"),
        as_json=given.pop("as_json"),
        with_basis=given.pop("with_basis"),
    )
    with Store.open(store).read() as reader:
        answer = ask_reader(reader, str(context.info_name), scope, by=by, **given)
    show(answer, output)


@question_command("mtbf", by_option())
def mtbf(context: click.Context, **given: Any) -> None:
    """How long it runs between failures, with bounds.

    Mean operating time between failures and failure rate of each group. Running time is added up
    over the positions of a locomotive. Without a failure there is a lower bound only.
    """
    answer_command(context, given)


@question_command("trend", by_option(*GROUPS_OF_AGE))
def trend(context: click.Context, **given: Any) -> None:
    """Whether failures come faster or slower with age.

    Laplace's test, the chi-square of MIL-HDBK-189, and a power law: shape above 1 is getting worse,
    below 1 better, and neither while its bounds hold 1.
    """
    answer_command(context, given)


@question_command(
    "survival",
    by_option(*GROUPS_OF_LIVES),
    click.option(
        "--method",
        type=click.Choice(["km", "turnbull"]),
        help="Default: km; turnbull where the time between two looks matters.",
    ),
    click.option(
        "--fit", is_flag=True, help="Fit Weibull, lognormal and exponential lives instead."
    ),
    click.option(
        "--first-life", is_flag=True, help="With --fit: the first known life of a position alone."
    ),
    click.option(
        "--intensity", is_flag=True, help="How often it fails at each age instead, restores kept."
    ),
    click.option(
        "--kinds", is_flag=True, help="The share of lives that each kind of defect has ended."
    ),
    click.option(
        "--differ",
        type=click.Choice(["class", "depot", "locomotive", "position", "action"]),
        help="Whether its groups differ; action: what was done at the renewal before.",
    ),
    click.option(
        "--hazard", is_flag=True, help="Hazard and reliability by age, from the best law of life."
    ),
    click.option(
        "--reached", type=float, metavar="AGE", help="With --hazard: of lives that reach this age."
    ),
    click.option(
        "--plot", is_flag=True, help="Points on probability paper, with the line of the best law."
    ),
)
def survival(context: click.Context, **given: Any) -> None:
    """How long one lasts: the share still going at each age, from one renewal to the next."""
    answer_command(context, given)


@question_command(
    "mcf",
    by_option(*GROUPS_OF_AGE),
    click.option(
        "--unit",
        type=click.Choice(["locomotive", "position"]),
        default="locomotive",
        show_default=True,
        help="Failures of one locomotive, its positions added, or of one position.",
    ),
    click.option(
        "--differ",
        type=click.Choice(["class", "depot", "component", "position"]),
        help="How much more failures one of its groups has had than another.",
    ),
)
def mcf(context: click.Context, **given: Any) -> None:
    """How failures add up over the time in service: mean number by age, with bounds."""
    answer_command(context, given)


@question_command(
    "recurrence",
    by_option(),
    _WINDOW,
    click.option(
        "--differ",
        type=click.Choice(["action", "depot", "defect", "severity"]),
        help="Whether a fix holds better in one of its groups than in another.",
    ),
)
def recurrence(context: click.Context, **given: Any) -> None:
    """How often it comes back within a window after a closing.

    Repeats among the failures, and the chance that a closing is followed by a new failure of the
    same position within the window. By action: after what was done.
    """
    answer_command(context, given)


@question_command(
    "repeats",
    _WINDOW,
    click.option(
        "--at-least", type=int, default=2, show_default=True, help="Shortest chain, in failures."
    ),
    click.option("--steps", is_flag=True, help="A row per failure of each chain."),
)
def repeats(context: click.Context, **given: Any) -> None:
    """Which positions keep coming back: chains of failures, longest first."""
    answer_command(context, given)


@question_command(
    "quality",
    click.option(
        "--inspections",
        is_flag=True,
        help="Findings per inspection by depot, team and month, and defects soon after instead.",
    ),
)
def quality(context: click.Context, **given: Any) -> None:
    """What is missing: empty cells, days without inspection, counters that stand still."""
    answer_command(context, given)
