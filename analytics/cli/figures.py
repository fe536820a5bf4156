"""Commands that answer: one per question, with the Scope's options and one way of printing."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analytics.answers import ask
from analytics.cli.data import store_option
from analytics.cli.screen import basis_lines, show_answer
from analytics.errors import ScopeError
from analytics.scope import CLOCKS, COUNTING_RULES, GROUPS, OPTION_OF, Scope, parse_groups
from analytics.store import Store

if TYPE_CHECKING:
    from analytics.answer import Answer

SCREEN = "table"
FORMATS = (SCREEN, "csv", "json", "xlsx", "parquet")
_BINARY = ("xlsx", "parquet")
_SCOPE_WORDS = ("clock", "counting", "since", "until", "level", *OPTION_OF.values())
_SCOPE_OPTIONS = [
    click.option("--clock", type=click.Choice(CLOCKS), help="Default: the component's own."),
    click.option(
        "--counting",
        type=click.Choice(COUNTING_RULES),
        default="rectified",
        show_default=True,
        help="Which findings count as failures.",
    ),
    click.option("--since", metavar="DATE", help="From this date on."),
    click.option("--until", metavar="DATE", help="Before this date."),
    *(
        click.option(
            f"--{word}", multiple=True, metavar="NAME", help=f"Only this {word}; repeat it."
        )
        for word in OPTION_OF.values()
    ),
    click.option(
        "--level", metavar="SHARE", default=0.90, show_default=True, help="Of the bounds."
    ),
]
_OUTPUT_OPTIONS = [
    store_option,
    click.option(
        "--format", "file_format", type=click.Choice(FORMATS), default=SCREEN, show_default=True
    ),
    click.option("--json", "as_json", is_flag=True, help="The same as --format json."),
    click.option("--with-basis", is_flag=True, help="JSON with basis, reading and notes."),
    click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Write to a file."),
]
by_option = click.option(
    "--by", metavar="GROUPS", default="", help=f"Comma-separated: {', '.join(GROUPS)}."
)


def _question(*own: Callable[..., Any]) -> Callable[[Callable[..., Any]], click.Command]:
    """Make a command of a function that says what it asks, with the options common to all."""

    def decorate(function: Callable[..., Any]) -> click.Command:
        for option in reversed([*own, *_SCOPE_OPTIONS, *_OUTPUT_OPTIONS]):
            function = option(function)
        return click.command()(function)

    return decorate


@_question(by_option)
def mtbf(by: str, **options: Any) -> None:
    """Mean operating time between failures, with bounds.

    Exposure over failures, per position; with few failures the bounds are what matters.
    """
    _answer("mtbf", options, by=parse_groups(by))


@_question(by_option)
def trend(by: str, **options: Any) -> None:
    """Is the failure rate rising or falling? Tests and power law over age in service.

    A shape below 1 is improving, above 1 deteriorating, when its interval excludes 1.
    """
    _answer("trend", options, by=parse_groups(by))


@_question(
    by_option,
    click.option(
        "--method", type=click.Choice(["km", "turnbull"]), default="km", show_default=True
    ),
    click.option("--fit", is_flag=True, help="Weibull, lognormal and exponential in its place."),
)
def survival(by: str, method: str, fit: bool, **options: Any) -> None:
    """How long components last until replaced for failure: the curve, or fitted laws."""
    _answer("survival", options, by=parse_groups(by), method=method, fit=fit)


@_question(
    by_option,
    click.option(
        "--unit", type=click.Choice(["locomotive", "position"]), default="locomotive",
        show_default=True,
    ),
)  # fmt: skip
def mcf(by: str, unit: str, **options: Any) -> None:
    """Failures per locomotive or position, added up over its age in service."""
    _answer("mcf", options, by=parse_groups(by), unit=unit)


@_question(
    by_option,
    click.option("--window", default="30d", show_default=True, help="Such as 30d, 500h, 20000km."),
    click.option("--same-defect", is_flag=True, help="Only the same defect counts as a repeat."),
)
def recurrence(by: str, window: str, same_defect: bool, **options: Any) -> None:
    """How often a position fails again within the window after it was put right."""
    _answer("recurrence", options, by=parse_groups(by), window=window, same_defect=same_defect)


@_question(
    click.option("--window", default="30d", show_default=True, help="Such as 30d, 500h, 20000km."),
    click.option("--same-defect", is_flag=True, help="Only the same defect counts as a repeat."),
)
def repeats(window: str, same_defect: bool, **options: Any) -> None:
    """The chains of repeat defects, longest first."""
    _answer("repeats", options, window=window, same_defect=same_defect)


@_question()
def quality(**options: Any) -> None:
    """What is missing in what was handed in: empty columns, silent days, still counters."""
    _answer("quality", options)


def _answer(question: str, options: dict[str, Any], **own: Any) -> None:
    scope = Scope.of(**{word: options[word] or None for word in _SCOPE_WORDS})
    file_format = "json" if options["as_json"] else options["file_format"]
    out: Path | None = options["out"]
    if file_format in _BINARY and out is None and sys.stdout.isatty():
        raise ScopeError(f"{file_format} cannot be shown here: add --out FILE.")
    with Store.open(options["store_dir"]).read() as reader:
        answer = ask(reader, question, scope, **own)
    if file_format == SCREEN and out is None:
        show_answer(answer)
        return
    _write(answer, "csv" if file_format == SCREEN else file_format, out, options["with_basis"])


def _write(answer: Answer, file_format: str, out: Path | None, with_basis: bool) -> None:
    from analytics.answer import say
    from analytics.exports import write_answer

    buffer = io.BytesIO()
    write_answer(answer, buffer, file_format, with_basis=with_basis)
    if out is not None:
        out.write_bytes(buffer.getvalue())
    else:
        sys.stdout.buffer.write(buffer.getvalue())
        sys.stdout.buffer.flush()
    for line in [say(answer.reading), *basis_lines(answer), *map(say, answer.notes)]:
        click.echo(line, err=True)
