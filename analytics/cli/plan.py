"""The command `plan`: make a berth plan, change it, compare, undo, hand it on."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analytics.cli.data import who_option
from analytics.cli.options import output_options, scope_options, store_option, take_scope
from analytics.errors import PlanError

if TYPE_CHECKING:
    from analytics.planning.again import Change
    from analytics.planning.inputs import PlanInputs
    from analytics.store import Store

PARTS = ("visits", "jobs", "left-out", "days", "limits", "worth", "versions", "compare")
_FILE = click.Path(path_type=Path)


@click.command("plan")
@click.option("--template", type=_FILE, metavar="FILE", help="Write a file to fill in and stop.")
@click.option("--example", type=_FILE, metavar="FILE", help="Write a whole example and stop.")
@click.option(
    "--inputs",
    type=_FILE,
    metavar="FILE",
    help="Berths, labour, jobs, spares, visits due, traffic, costs: .xlsx or .toml. Makes a plan.",
)
@click.option("--again", is_flag=True, help="Make the plan in force anew, with what is known now.")
@click.option(
    "--from", "parent", type=int, metavar="VERSION", help="Go on from this version; makes a plan."
)
@click.option(
    "--pin", "pins", multiple=True, metavar="LOCOMOTIVE:DAY",
    help="A visit of it begins on that day; makes a plan.",
)  # fmt: skip
@click.option(
    "--forbid", "forbidden", multiple=True, metavar="[LOCOMOTIVE:]DAY",
    help="No locomotive, or not this one, is in a berth on that day; makes a plan.",
)  # fmt: skip
@click.option(
    "--lift", "lifted", multiple=True, metavar="[LOCOMOTIVE:]DAY",
    help="Take a pin or a day kept free back; makes a plan.",
)  # fmt: skip
@click.option("--worth", is_flag=True, help="Also solve with one more of each berth, skill, spare.")
@click.option("--seconds", type=click.FloatRange(min=1), default=15.0, show_default=True,
              help="Longest search, for each time it is solved.")  # fmt: skip
@click.option("--gap", type=click.FloatRange(0, 1), default=0.01, show_default=True,
              help="Near enough to the bound, as a share.")  # fmt: skip
@click.option("--undo", is_flag=True, help="Bring the version back that the plan went on from.")
@click.option("--list", "as_list", is_flag=True, help="The versions; the same as --part versions.")
@click.option("--show", "version", type=int, metavar="VERSION", help="Default: the one in force.")
@click.option("--part", type=click.Choice(PARTS), help="Which table; default: visits.")
@click.option("--compare", "compared", type=int, nargs=2, metavar="A B",
              help="What version B has otherwise than A.")  # fmt: skip
@click.option("--other", type=int, metavar="VERSION",
              help="With --part compare: against this one; default: its parent.")  # fmt: skip
@click.option("--calendar", type=_FILE, metavar="FILE", help="Write the visits as iCalendar.")
@who_option
@scope_options
@output_options
@store_option
def plan(store: Path, **given: Any) -> None:
    """Which locomotive gets which berth, on which day, for which jobs, and why.

    From the age and history of every position: what waiting would cost, against labour, spares and
    days out of traffic, within berths, hours, spares, visits due and the traffic to be kept. Every
    plan is kept as a version; the newest is in force. --out plan.xlsx or plan.pdf writes all of it.

    The plan informs, it releases no locomotive, and moves no date that a rule sets.
    """
    if given["template"] or given["example"]:
        _write_files(given["template"], given["example"])
        return
    from analytics.store import Store

    opened = Store.open(store)
    if given["undo"]:
        _undo(opened, given["who"])
    elif _asks_for_a_plan(given):
        _make(opened, given)
    _show(opened, given)


def _asks_for_a_plan(given: dict[str, Any]) -> bool:
    words = ("inputs", "again", "parent", "pins", "forbidden", "lifted", "worth")
    return any(given[word] for word in words)


def _write_files(template: Path | None, example: Path | None) -> None:
    from analytics.planning.template import write_example, write_template

    for path, write in ((template, write_template), (example, write_example)):
        if path is not None:
            write(path)
            click.echo(f"Written: {path}. Hand it in with: shedbook plan --inputs {path}")


def _undo(store: Store, who: str | None) -> None:
    from analytics.planning.versions import Versions

    number = Versions(store.root).undo(who=who or _who())
    click.echo(f"Version {number} brings the one before back.", err=True)


def _make(store: Store, given: dict[str, Any]) -> None:
    from analytics.planning.again import Change, make_version

    change = Change(
        pins=tuple(_pin(word) for word in given["pins"]),
        forbidden=tuple(_free(word, "--forbid") for word in given["forbidden"]),
        lifted=tuple(_free(word, "--lift") for word in given["lifted"]),
        seconds=given["seconds"],
        gap=given["gap"],
        more=given["worth"],
        parent=given["parent"],
    )
    number = make_version(
        store, change, inputs=_inputs(store, given["inputs"], change), who=given["who"] or _who()
    )
    click.echo(f"Kept as version {number}.", err=True)


def _inputs(store: Store, path: Path | None, change: Change) -> PlanInputs | None:
    """Read the inputs: the file named, else those of the version, else the store's own file."""
    from analytics.planning.again import read_store_inputs, usual_inputs
    from analytics.planning.versions import Versions

    if path is None and (change.parent or Versions(store.root).latest()):
        return None
    if path is None:
        path = usual_inputs(store)
        if path is None:
            raise PlanError(
                "no plan was made yet and no inputs are there: write `shedbook plan --template"
                " planning.xlsx`, fill it in, then `shedbook plan --inputs planning.xlsx`."
            )
    return read_store_inputs(store, path)


def _pin(word: str) -> tuple[str, date]:
    name, _, day = word.rpartition(":")
    if not name:
        raise PlanError(f"--pin reads LOCOMOTIVE:DAY, such as A-07:2026-07-01, but is {word!r}.")
    return name, _day(day, "--pin", word)


def _free(word: str, option: str) -> tuple[str, date]:
    name, _, day = word.rpartition(":")
    return name, _day(day, option, word)


def _day(text: str, option: str, word: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise PlanError(f"{option} ends in a day such as 2026-07-01, but is {word!r}.") from None


def _who() -> str:
    from getpass import getuser

    try:
        return getuser()
    except (KeyError, OSError):  # a machine without names
        return "command line"


def _show(store: Store, given: dict[str, Any]) -> None:
    from analytics.answers import ask_reader
    from analytics.cli.show import Output, show

    scope, asked = take_scope(given), _asked(given)
    whole = given["out"] is not None and _whole(given["out"], given["part"])
    with store.read() as reader:
        if given["calendar"] is not None:
            _write(store, given["calendar"], given["version"], "ics")
        if whole:
            _write(store, given["out"], given["version"], given["out"].suffix[1:].lower())
            return
        answer = ask_reader(reader, "plan", scope, **asked)
    output = Output.of(
        given["form"], out=given["out"], as_json=given["as_json"], with_basis=given["with_basis"]
    )
    show(answer, output)


def _asked(given: dict[str, Any]) -> dict[str, Any]:
    if given["compared"]:
        other, version = given["compared"]
        return {"part": "compare", "version": version, "other": other}
    part = given["part"] or ("versions" if given["as_list"] else "visits")
    named = {name: given[name] for name in ("version", "other") if given[name]}
    return {"part": part, **named}


def _whole(out: Path, part: str | None) -> bool:
    return out.suffix.lower() == ".pdf" or (out.suffix.lower() == ".xlsx" and part is None)


def _write(store: Store, out: Path, version: int | None, form: str) -> None:
    from analytics.exports.plan_file import write_plan
    from analytics.planning.versions import Versions

    versions = Versions(store.root)
    number = version or versions.latest()
    if number is None:
        raise PlanError("no plan was made yet: there is nothing to write.")
    write_plan(versions.get(number), out, form)
    click.echo(f"Written: {out}", err=True)
