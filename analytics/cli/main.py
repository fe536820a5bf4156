"""The `shedbook` command: finds the command, turns errors into one line and an exit code."""

from __future__ import annotations

import os
import sys
import traceback
from importlib import import_module

import click

from analytics.errors import ShedbookError

# Command word to its module and the sentence that `--help` shows; the module is imported on use.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("run", "Build the invented railway and open its pages."),
    "init": ("data", "Start a store."),
    "ingest": ("data", "Hand in files of inspections, findings, usage and work."),
    "mtbf": ("figures", "Mean operating time between failures, with bounds."),
    "trend": ("figures", "Is the failure rate rising or falling?"),
    "survival": ("figures", "How long components last until replaced for failure."),
    "mcf": ("figures", "Failures per locomotive, added up over its age."),
    "recurrence": ("figures", "How often a defect comes back after it was put right."),
    "repeats": ("figures", "The chains of repeat defects, longest first."),
    "quality": ("figures", "What is missing in what was handed in."),
    "serve": ("run", "Open the pages of a store on this machine."),
}
EXIT_FAILED, EXIT_WRONG_USE = 1, 2


class _Commands(click.Group):
    """A group whose commands are imported when called, so that `--help` stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"analytics.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(word, said) for word, (_, said) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="shedbook", message="shedbook %(version)s")
def shedbook() -> None:
    """Turn the findings of daily locomotive inspections into decisions.

    Figures inform; they release no locomotive. Local codes, the maker's manual and licensed
    practice come first.
    """


def main(arguments: list[str] | None = None) -> int:
    """Run one command and return its exit code (0 done, 1 failed, 2 wrong use, 3 see `ingest`)."""
    _speak_utf8()
    try:
        code = shedbook.main(args=arguments, prog_name="shedbook", standalone_mode=False)
    except click.exceptions.Abort:
        click.echo("stopped.", err=True)
        return EXIT_FAILED
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except ShedbookError as error:
        click.echo(f"shedbook: {error}", err=True)
        return error.exit_code
    except BrokenPipeError:
        # The reader of our output has left (`| head`): nothing to tell anyone.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:  # noqa: BLE001 - the one edge where nothing may escape as a traceback
        _tell_unexpected(error)
        return EXIT_FAILED
    return code if isinstance(code, int) else 0


def _speak_utf8() -> None:
    """Write UTF-8 whatever the locale says, so that names and units survive LANG=C."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")


def _tell_unexpected(error: Exception) -> None:
    if os.environ.get("SHEDBOOK_DEBUG"):
        traceback.print_exc()
    kind = type(error).__name__
    click.echo(
        f"shedbook: something went wrong that should not ({kind}: {error}); nothing was changed "
        "unless said above. Set SHEDBOOK_DEBUG=1 to see where.",
        err=True,
    )


if __name__ == "__main__":
    raise SystemExit(main())
