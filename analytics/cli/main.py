"""The entry: finds the command, and turns whatever goes wrong into one line and an exit status.

Exit status: 0 done, 1 failed, 2 wrong use or an unusable file, 3 with `--strict` when rows were set
aside.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from io import TextIOWrapper
from types import TracebackType
from typing import Any

import click

from analytics.errors import ShedbookError, nearest

# Command word to module and what it does; the modules import nothing heavy until they run.
COMMANDS = {
    "demo": ("run", "Build an invented railway, print three tables, open its pages."),
    "init": ("data", "Start an empty store."),
    "template": ("data", "Write a workbook to fill in, with lists to choose from."),
    "ingest": ("data", "Hand files in."),
    "map": ("data", "Propose a mapping for a file with headings and codes of its own."),
    "rejects": ("data", "Write out the rows set aside, to be mended and handed in again."),
    "withdraw": ("data", "Take a batch back."),
    "batches": ("lists", "What was handed in, when and by whom."),
    "quality": ("figures", "What is missing from the record."),
    "findings": ("lists", "Which defects were found; --open for those still open."),
    "repeats": ("figures", "Which positions keep coming back, longest chain first."),
    "recurrence": ("figures", "How often it comes back within a window after a closing."),
    "mtbf": ("figures", "How long it runs between failures, with bounds."),
    "compare": ("compare", "Whether two rates differ: before and after, class, depot."),
    "trend": ("figures", "Whether failures come faster or slower with age."),
    "survival": ("figures", "How long one lasts; --fit for Weibull, lognormal, exponential."),
    "standouts": ("standouts", "What has more trouble than its like, beyond chance."),
    "warnings": ("warning", "What is found more often of late than before."),
    "mcf": ("figures", "How failures add up over the time in service."),
    "availability": ("compare", "How much of the time they were fit for traffic."),
    "ages": ("lists", "How old what is fitted is, and how many last that long."),
    "counters": ("lists", "What the counters of engine hours and km showed."),
    "readings": ("measured", "Which measured values are beyond a limit, or heading for one."),
    "look-closer": ("forecast", "What to give a second look on one locomotive."),
    "next-weeks": ("forecast", "How many defects to expect, of which locomotive."),
    "plan": ("plan", "Which locomotive gets which berth, when, for which jobs, and why."),
    "replace-age": ("renewals", "At which age to renew by plan, and what that saves."),
    "spares": ("renewals", "How many parts a lead time will need, and how many to keep."),
    "backtest": ("forecast", "How good the forecasts were at past dates."),
    "serve": ("run", "Show the pages of a store on this machine."),
    "bench": ("run", "Time this program on this machine."),
}


class LazyGroup(click.Group):
    """A group that imports a command's module when the command is used, not to list it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the words in the order of a day's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import one command."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"analytics.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Name the nearest words for one that does not exist."""
        word = args[0]
        if word not in COMMANDS and not word.startswith("-"):
            close = ", ".join(nearest(word, COMMANDS)) or ", ".join(COMMANDS)
            raise click.UsageError(f"there is no command {word!r}; nearest: {close}.", ctx)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a reader that has seen enough and left is no failure."""
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            _forget_output()
            return 0

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(word, said) for word, (_, said) in COMMANDS.items()])


@click.group(
    cls=LazyGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(package_name="shedbook", prog_name="shedbook")
@click.pass_context
def shedbook(context: click.Context) -> None:
    """Findings of daily inspections turned into figures a depot can act on.

    Start with `shedbook demo`, or with your own files: `shedbook init`, then `shedbook ingest
    FILE...`, then ask. `shedbook COMMAND --help` explains each command.

    The figures inform; they release no locomotive.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit status."""
    _make_writable()
    if not os.environ.get("SHEDBOOK_DEBUG"):
        sys.excepthook = _explain  # nobody reads a traceback at 5 a.m.
    try:
        status = shedbook.main(arguments, prog_name="shedbook", standalone_mode=False)
        sys.stdout.flush()
        sys.exit(status if isinstance(status, int) else 0)
    except click.exceptions.Exit as leaving:
        sys.exit(leaving.exit_code)
    except click.Abort:
        _say("stopped.")
        sys.exit(1)
    except click.ClickException as wrong:
        _say(_in_one_line(wrong))
        sys.exit(wrong.exit_code)
    except BrokenPipeError:
        _forget_output()
        sys.exit(0)
    except ShedbookError as refusal:
        _say(str(refusal))
        sys.exit(refusal.exit_code)


def _forget_output() -> None:
    """Keep the interpreter from flushing into a pipe that nobody reads any more."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _make_writable() -> None:
    """Let no character stop the output: a terminal that cannot show one gets a question mark."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")


def _in_one_line(wrong: click.ClickException) -> str:
    said = wrong.format_message()
    context: Any = getattr(wrong, "ctx", None)
    if isinstance(wrong, click.UsageError) and context is not None:
        said = f"{said.rstrip('.')}. See `{context.command_path} --help`."
    return said


def _explain(
    _kind: type[BaseException], error: BaseException, _where: TracebackType | None
) -> None:
    _say(f"failed unexpectedly: {type(error).__name__}: {error} (SHEDBOOK_DEBUG=1 shows where)")


def _say(line: str) -> None:
    click.echo(f"shedbook: {line}", err=True)


if __name__ == "__main__":
    main()
