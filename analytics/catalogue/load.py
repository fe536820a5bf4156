"""Catalogue files (TOML) to a `Catalogue`: find them, read them, bring their tables together."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from importlib.resources import files as package_files
from pathlib import Path

from analytics.catalogue.build import GRACE_KEY, SECTIONS, Tables, build_catalogue
from analytics.catalogue.checked_table import CheckedTable, is_name, is_table
from analytics.catalogue.model import Catalogue
from analytics.errors import CatalogueError

# What tomllib says, and what a depot can act on.
_PLAIN_WORDS = (
    ("Invalid value", "the value is not valid (texts need quotes; true and false lower case)"),
    ("Expected '='", "a key must be followed by '=' (a name with blanks needs quotes)"),
    ("Expected ']'", "a table heading must end in ']' (a name with blanks needs quotes)"),
    ("Cannot overwrite", "this key is given twice"),
    ("Cannot declare", "this table is given twice"),
    ("maximum recursion", "brackets are nested too deep"),
)


def load_catalogue(path: str | Path) -> Catalogue:
    """Load a catalogue from one TOML file, or from a folder of them.

    Raises
    ------
    CatalogueError
        There is nothing to read, or the content is wrong: one line of the message per problem.
    """
    return load_text(read_files(path))


def load_text(files: Mapping[str, str], *, check_units: bool = True) -> Catalogue:
    """Build a catalogue from the text of its files.

    Parameters
    ----------
    files : mapping of str to str
        File name to TOML text; the order does not matter.
    check_units : bool
        False skips the units library, which takes about a quarter of a second to import, for text
        that was checked before, such as the copy a store keeps.

    Raises
    ------
    CatalogueError
        One line per problem. Text that is not TOML is reported alone, with file and line: checking
        references against half a catalogue would only mislead.
    """
    problems: list[str] = []
    top_levels = _parse(files, problems)
    if problems:
        raise CatalogueError("\n".join(problems))
    tables, grace_days = _merge(top_levels), _first_life_grace(top_levels)
    catalogue = build_catalogue(tables, grace_days, problems, check_units=check_units)
    if problems:
        raise CatalogueError("\n".join(problems))
    return catalogue


def read_files(path: str | Path) -> dict[str, str]:
    """Return the text of one catalogue file, or of each `*.toml` in a folder, by file name."""
    path = Path(path)
    if path.is_dir():
        found = [p for p in path.iterdir() if p.suffix.lower() == ".toml" and p.name[0] != "."]
        if not found:
            raise CatalogueError(f"The folder {str(path)!r} holds no catalogue file (*.toml).")
    elif path.is_file():
        found = [path]
    else:
        raise CatalogueError(f"There is no catalogue file or folder {str(path)!r}.")
    return {file.name: _text_of(file) for file in sorted(found)}


def shipped_files() -> dict[str, str]:
    """Return the text of the catalogue that comes with shedbook, by file name."""
    folder = package_files("analytics.catalogue").joinpath("shipped")
    found = {file.name: file for file in folder.iterdir() if file.name.endswith(".toml")}
    return {name: found[name].read_text(encoding="utf-8") for name in sorted(found)}


def shipped_catalogue() -> Catalogue:
    """Load the catalogue that comes with shedbook."""
    return load_text(shipped_files())


def _text_of(file: Path) -> str:
    try:
        return file.read_bytes().decode("utf-8-sig")  # some editors put a byte order mark first
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise CatalogueError(
            f"{file.name}, line {line}: this is not UTF-8 text; save the file as UTF-8."
        ) from error
    except OSError as error:
        raise CatalogueError(f"{file.name} cannot be read: {error.strerror}.") from error


def _parse(files: Mapping[str, str], problems: list[str]) -> list[CheckedTable]:
    top_levels = []
    for name, text in sorted(files.items()):
        try:
            values = tomllib.loads(text)
        except (ValueError, RecursionError) as error:  # ValueError: also a number too long to read
            problems.append(syntax_problem(name, text, str(error)))
        else:
            top_levels.append(CheckedTable("top level", name, values, problems))
    return top_levels


def syntax_problem(file: str, text: str, said: str) -> str:
    """Say in plain words where a text is not TOML (`said`: what the reader of TOML said)."""
    lines = text.splitlines() or [""]
    found = re.search(r"\(at line (\d+), column \d+\)$", said)
    number = min(int(found[1]), len(lines)) if found else len(lines)
    place = f"line {number}" if found else f"at its end, line {number}"
    said = re.sub(r" \(at [^()]*\)$", "", said)
    words = next((plain for start, plain in _PLAIN_WORDS if said.startswith(start)), said)
    return f"{file}, {place}: {words}; the line reads: {lines[number - 1].strip()[:80]}"


def _merge(top_levels: list[CheckedTable]) -> Tables:
    """Bring the tables of all files together; a name may be defined only once."""
    tables: Tables = {section: {} for section in SECTIONS}
    for top in top_levels:
        for section in SECTIONS:
            _add_entries(
                tables[section], top.table(section, f"[{section}.NAME]", whole_name=section)
            )
        top.asked.append(GRACE_KEY)
        top.finish()
    return tables


def _add_entries(known: dict[str, CheckedTable], section: CheckedTable) -> None:
    for name, values in section.values.items():
        entry = section.table(name, f"[{section.where}.NAME]")
        if not is_name(name):
            entry.complain("a name must not be empty nor have blanks at its ends")
        elif name in known:
            entry.complain(f"is already defined in {known[name].file}; keep one of the two")
        elif is_table(values):
            known[name] = entry


def _first_life_grace(top_levels: list[CheckedTable]) -> int:
    """Return the grace in days of the one file that gives it, else the default."""
    givers = [top for top in top_levels if GRACE_KEY in top.values]
    for again in givers[1:]:
        again.complain(f"{GRACE_KEY} is already given in {givers[0].file}; keep one of the two")
    default = 31
    return givers[0].count(GRACE_KEY, default) if givers else default
