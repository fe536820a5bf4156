"""Options that several commands share, and the Scope they make."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from analytics.scope import CLOCKS, COUNTING_RULES, GROUPS, OPTION_OF, Scope, parse_groups

DEFAULT_STORE = Path("shedbook-store")
GROUPS_OF_AGE = tuple(word for word in GROUPS if word != "month")
GROUPS_OF_LIVES = ("component", "class", "depot", "locomotive", "position")
FORMATS = ("table", "csv", "json", "xlsx", "parquet")
Command = TypeVar("Command", bound=Callable[..., Any])

_STORE = click.option(
    "--store",
    type=click.Path(path_type=Path),
    envvar="SHEDBOOK_STORE",
    default=DEFAULT_STORE,
    show_default="SHEDBOOK_STORE, else ./shedbook-store",
    help="The store's folder.",
)
_SCOPE = (
    click.option(
        "--clock", type=click.Choice(CLOCKS), help="Default: the component's own, or days."
    ),
    click.option(
        "--counting",
        type=click.Choice(COUNTING_RULES),
        default="rectified",
        show_default=True,
        help="Which findings count as failures.",
    ),
    click.option(
        "--since", metavar="DATE", help="From this instant on: 2026-05-31 or 2026-05-31T06:30."
    ),
    click.option("--until", metavar="DATE", help="Up to, not including, this instant."),
    *(
        click.option(
            f"--{word}",
            field,
            multiple=True,
            metavar="NAME",
            help=f"Keep this {word}; may be repeated.",
        )
        for field, word in OPTION_OF.items()
    ),
    click.option(
        "--level",
        type=float,
        default=0.90,
        show_default=True,
        help="Confidence level of the bounds.",
    ),
)
_OUTPUT = (
    click.option(
        "--format",
        "form",
        type=click.Choice(FORMATS),
        help="Default: table, or what --out ends in.",
    ),
    click.option("--json", "as_json", is_flag=True, help="The same as --format json."),
    click.option(
        "--out", type=click.Path(path_type=Path), metavar="FILE", help="Write to this file."
    ),
    click.option("--with-basis", is_flag=True, help="JSON: an object with rows, basis and notes."),
)
_FORM = tuple(option for place, option in enumerate(_OUTPUT) if place != 2)  # all but --out


def with_options(*options: Callable[[Command], Command]) -> Callable[[Command], Command]:
    """Add options to a command, in the order in which its help lists them."""

    def add(command: Command) -> Command:
        for option in reversed(options):
            command = option(command)
        return command

    return add


store_option = with_options(_STORE)
scope_options = with_options(*_SCOPE)
output_options = with_options(*_OUTPUT)
form_options = with_options(*_FORM)


def by_option(*words: str) -> Callable[[Command], Command]:
    """Add `--by`, whose help names the group words that the command takes; none: all."""
    return click.option(
        "--by",
        multiple=True,
        metavar="WORDS",
        help=f"A row for each of: {', '.join(words or GROUPS)}; commas between several.",
    )


def take_scope(given: dict[str, Any]) -> Scope:
    """Take the Scope's options out of a command's and read them.

    Raises
    ------
    ScopeError
        For a value that no Scope can hold.
    """
    words = ("clock", "counting", "since", "until", "level", *OPTION_OF)
    return Scope.of(**{word: given.pop(word) for word in words if word in given})


def take_groups(given: dict[str, Any]) -> tuple[str, ...]:
    """Take `--by` out of a command's options and read it."""
    return parse_groups(",".join(given.pop("by", ())))
