"""A mapping file proposed for one file, each line with how sure it is and why; never applied.

Headings are compared with ours and with what depots call them in English, Hungarian and German;
then the values themselves are asked: do they read as dates, as numbers, as names the catalogue or
the register knows. Codes are proposed by the nearest name or label.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

import duckdb

from analytics.catalogue.checked_table import as_key
from analytics.catalogue.model import Catalogue
from analytics.errors import InputError
from analytics.intake.likeness import Words, likeness, load_words, readable_share
from analytics.intake.mapping import SECTIONS, fold, known_values
from analytics.intake.readers import Sheet, read_file
from analytics.intake.tables import COMBINED, FINDING_IN_A_ROW, Column, Table, without_unit

SURE_ENOUGH = 0.6  # lines below are written commented out
VALUE_SURE_ENOUGH = 0.75  # short words are soon alike
NOT_WORTH_SAYING = 0.35
LOOKED_AT = 20_000  # rows
MOST_HEADINGS = 200
MOST_VALUES = 200  # distinct values of one column for which a line is written
ASKED_FIRST = 40  # ... and of these, how many tell what the column is
LONGEST = 80  # characters of a heading, and of a value that may be a name
_HEADING_WEIGHT = 0.6
_NAMES_WEIGHT = 0.8  # where only the values speak, and they are names that we know
_MISSING = 0.6  # what a required column not found takes off
_TWO_COLUMNS = 1.2  # a table of which less is found is none
_OPTIONAL_BONUS = 0.3  # what each optional column found adds to how well a table fits


@dataclass(frozen=True, slots=True)
class Line:
    """One proposed line: ours, theirs, how sure (0 to 1), and why."""

    ours: str
    theirs: str
    sure: float
    why: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed mapping.

    Attributes
    ----------
    file
        The file it was made from.
    table
        The table the file seems to be.
    columns
        One line per column found, `ours` a heading of the table.
    values
        Per heading, one line per value that is not ours as it stands.
    lacking
        Required headings for which nothing was found.
    not_read
        Headings of the file that no line uses.
    """

    file: str
    table: str
    columns: tuple[Line, ...]
    values: dict[str, tuple[Line, ...]]
    lacking: tuple[str, ...]
    not_read: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What headings and values are compared with."""

    catalogue: Catalogue
    locomotives: frozenset[str]
    words: Words


@dataclass(frozen=True, slots=True)
class _Heading:
    """One column of the file: its heading and its commonest values."""

    text: str
    values: tuple[str, ...]


def propose_mapping(
    path: Path | str, catalogue: Catalogue, *, locomotives: Collection[str] = ()
) -> Proposal:
    """Propose how a file's headings and codes turn into ours.

    Parameters
    ----------
    path
        The file; of a workbook the first sheet that looks like a table.
    catalogue
        Whose names and labels (in any language) values are compared with.
    locomotives
        Those on the register, where there is one.

    Raises
    ------
    InputError
        If the file cannot be read, or nothing in it looks like one of the tables.
    """
    asked = _Asked(catalogue, frozenset(locomotives), load_words())
    with duckdb.connect() as connection:
        sheet = read_file(connection, Path(path), "in_stage_1", is_header=_looks_like_header)[0]
        headings = _headings(connection, sheet)
    scores = _score(headings, asked)
    fits = [_fit(table, headings, scores) for table in SECTIONS.values()]
    rank, table, columns = max(fits, key=lambda fit: fit[0])
    if rank < _TWO_COLUMNS:
        raise InputError(f"{sheet.name}: nothing in it looks like one of the tables.")
    measured = _parameter_lines(headings, {line.theirs for line in columns}, asked)
    if measured and table in {COMBINED, SECTIONS["inspections"]}:
        table, columns = COMBINED, [*columns, *measured]
    return _proposal(sheet.name, table, columns, headings, asked)


def _proposal(
    file: str, table: Table, columns: list[Line], headings: list[_Heading], asked: _Asked
) -> Proposal:
    by_text = {heading.text: heading for heading in headings}
    of_table = {column.name: column for column in table.columns}
    values = {
        line.ours: lines
        for line in columns
        if line.sure >= SURE_ENOUGH
        and line.ours in of_table
        and (lines := _value_lines(of_table[line.ours], by_text[line.theirs], asked))
    }
    used = {line.theirs for line in columns}
    found = {line.ours for line in columns}
    order = {name: place for place, name in enumerate(table.headings)}
    return Proposal(
        file,
        table.name,
        tuple(sorted(columns, key=lambda line: order.get(line.ours, len(order)))),
        values,
        tuple(name for name in table.headings if name in _needed(table) - found),
        tuple(heading.text for heading in headings if heading.text not in used),
    )


def proposal_text(proposal: Proposal) -> str:
    """Write a proposal as a mapping file (TOML); lines it is not sure of are commented out."""
    table = proposal.table
    lines = [
        f"# Proposed from {proposal.file!r}. Behind each line: how sure it is, and why.",
        "# Look through it, take the sign # off what is right, and hand in with --mapping.",
        f"[{table}]",
        '# date_format = "day-first"  # where dates read both ways: or month-first, iso',
        "",
        f"[{table}.columns]",
        *(_line(as_key(line.ours), line.theirs, line) for line in proposal.columns),
        *(f'# {as_key(name)} = ""  # not found, but {table} needs it' for name in proposal.lacking),
    ]
    for heading, values in proposal.values.items():
        lines += ["", f"[{table}.values.{as_key(heading)}]"]
        lines += [
            _line(as_key(line.theirs), line.ours, line, least=VALUE_SURE_ENOUGH) for line in values
        ]
    if proposal.not_read:
        names = ", ".join(repr(name) for name in proposal.not_read)
        lines += ["", f"# Not used: {names}"]
    return "\n".join(lines) + "\n"


def _line(key: str, value: str, line: Line, *, least: float = SURE_ENOUGH) -> str:
    off = "" if line.sure >= least else "# "
    return f"{off}{key} = {_quoted(value)}  # {line.sure:.0%}: {line.why}"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _looks_like_header(row: Iterable[str]) -> bool:
    """Tell whether two cells of a row are what depots call columns."""
    words = load_words()
    cells = [cell for cell in row if cell and len(cell) <= LONGEST]
    return sum(words.names_a_column(cell) for cell in cells[:MOST_HEADINGS]) >= 2


def _headings(connection: duckdb.DuckDBPyConnection, sheet: Sheet) -> list[_Heading]:
    found = []
    for heading, cell in list(zip(sheet.headings, sheet.cells, strict=True))[:MOST_HEADINGS]:
        if not heading.strip():
            continue
        rows = connection.execute(
            f"SELECT v FROM (SELECT {cell} AS v FROM {sheet.stage} WHERE broken IS NULL "
            f"LIMIT {LOOKED_AT}) WHERE length(v) <= {LONGEST} GROUP BY v ORDER BY count(*) DESC, v "
            f"LIMIT {MOST_VALUES}"
        ).fetchall()
        found.append(_Heading(heading.strip(), tuple(str(value) for (value,) in rows)))
    return found


def _score(headings: list[_Heading], asked: _Asked) -> dict[tuple[str, str], Line]:
    """Score every column of ours against every heading of the file."""
    columns = {column: None for table in SECTIONS.values() for column in table.columns}
    by_name: dict[str, Column] = {}
    for column in columns:
        by_name.setdefault(column.name, column)
    scores = {}
    for column in by_name.values():
        for heading in headings:
            line = _compare(column, heading, asked)
            if line.sure >= NOT_WORTH_SAYING:
                scores[column.name, heading.text] = line
    return scores


def _compare(column: Column, heading: _Heading, asked: _Asked) -> Line:
    alike, like = asked.words.heading(column, heading.text[:LONGEST])
    says = "the same heading" if alike == 1 else f"heading like {like!r}"
    if not alike:
        says = "a heading unlike any of ours"
    share, what = _share(column, heading.values[:ASKED_FIRST], asked)
    if share is None:
        return Line(column.name, heading.text, round(0.95 * alike, 2), says)
    sure = _HEADING_WEIGHT * alike + (1 - _HEADING_WEIGHT) * share
    if column.kind == "number" and not alike:
        sure = 0.0  # every column of numbers would do
    elif column.kind in {"instant", "number"} and share < 0.5:
        sure *= share  # what the values are weighs more than what they are called
    elif column.known_as:  # a depot's own codes are like nothing: that is what a mapping is for
        sure = max(_NAMES_WEIGHT * share, 0.8 * alike + 0.2 * share)
    why = f"{says}; {share:.0%} of its values {what}"
    return Line(column.name, heading.text, round(sure, 2), why)


def _share(column: Column, values: tuple[str, ...], asked: _Asked) -> tuple[float | None, str]:
    """Return the share of values that are what the column holds, None where nothing tells."""
    if not values:
        return None, ""
    if column.kind in {"instant", "number"}:
        what = "read as dates" if column.kind == "instant" else "read as numbers"
        return readable_share(column.kind, values), what
    if column.name == "locomotive":
        if not asked.locomotives:
            return None, ""
        return _mean(v in asked.locomotives for v in values), "are on the register"
    names = _names(column, asked)
    if not names:
        return None, ""
    return _mean(
        _nearest(v, names)[1] >= VALUE_SURE_ENOUGH for v in values
    ), "are near a name of ours"


def _mean(tests: Iterable[bool]) -> float:
    found = list(tests)
    return sum(found) / len(found)


def _names(column: Column, asked: _Asked) -> dict[str, str]:
    """Return what a value of a column may be called, folded, to our name of it."""
    known = known_values(column, asked.catalogue)
    names = {
        fold(word): name
        for name in known
        for word in asked.words.values.get(column.name, {}).get(name, ())
    }
    for name in known:
        entry = asked.catalogue.by_kind().get(column.known_as, {}).get(name)
        names |= {fold(label): name for label in (entry.labels.values() if entry else ())}
    return names | {fold(name): name for name in known}


def _nearest(value: str, names: dict[str, str]) -> tuple[str, float]:
    """Return the name of ours that a value is most like, and how much (0 to 1)."""
    folded = fold(value)
    if folded in names:
        return names[folded], 0.98
    best, ratio = "", 0.0
    matcher = SequenceMatcher(b=folded, autojunk=False)
    for spelling, name in names.items():
        matcher.set_seq1(spelling)
        if matcher.real_quick_ratio() > ratio and matcher.quick_ratio() > ratio:
            found = likeness(spelling, folded)
            if found > ratio:
                best, ratio = name, found
    return best, round(ratio * 0.95, 2)


def _fit(
    table: Table, headings: list[_Heading], scores: dict[tuple[str, str], Line]
) -> tuple[float, Table, list[Line]]:
    """Give each of a table's columns its best heading; return how well the table fits."""
    names = set(table.headings)
    if table is COMBINED:
        names.discard("found_at")  # the one date of the row is the inspection's
    lines = [line for (name, _), line in scores.items() if name in names]
    order = {heading.text: place for place, heading in enumerate(headings)}
    columns: dict[str, Line] = {}
    used: set[str] = set()
    for line in sorted(lines, key=lambda line: (-line.sure, order[line.theirs])):
        if line.ours not in columns and line.theirs not in used:
            columns[line.ours] = line
            used.add(line.theirs)
    needed = _needed(table)
    sure = sum(columns[name].sure if name in columns else -_MISSING for name in needed)
    extra = sum(line.sure >= SURE_ENOUGH for name, line in columns.items() if name not in needed)
    # Rounded, so that a tie is a tie whatever the order of summing; the plainer table then stands.
    return round(sure + _OPTIONAL_BONUS * extra, 6), table, list(columns.values())


def _needed(table: Table) -> frozenset[str]:
    return table.required | FINDING_IN_A_ROW if table is COMBINED else table.required


def _parameter_lines(headings: list[_Heading], used: Collection[str], asked: _Asked) -> list[Line]:
    """Propose the columns of numbers that are called like a parameter, in any language."""
    names = {
        fold(word): name
        for name, parameter in asked.catalogue.parameters.items()
        for word in (name, name.replace("-", " "), *parameter.labels.values())
    }
    found: dict[str, Line] = {}
    for heading in headings:
        bare, _ = without_unit(heading.text)
        name, alike = _nearest(bare, names) if names and heading.text not in used else ("", 0.0)
        share = readable_share("number", heading.values)
        line = Line(name, heading.text, round(alike * share, 2), "heading like the parameter's")
        if line.sure >= VALUE_SURE_ENOUGH and line.sure > found.get(name, _NOTHING).sure:
            found[name] = line
    return list(found.values())


_NOTHING = Line("", "", 0.0, "")


def _value_lines(column: Column, heading: _Heading, asked: _Asked) -> tuple[Line, ...]:
    """Propose a name of ours for each value that is not one as it stands."""
    names = _names(column, asked)
    if not names or column.name == "locomotive":
        return ()
    known = set(known_values(column, asked.catalogue))
    lines = []
    for value in heading.values:
        plain = value.lower() if column.choices or column.kind == "yes-no" else value
        if plain not in known:
            ours, sure = _nearest(value, names)
            why = "another word for it" if sure > 0.95 else "the nearest name or label"
            if sure < NOT_WORTH_SAYING:
                ours, sure, why = "", 0.0, "nothing like it is known"
            lines.append(Line(ours, value, sure, why))
    return tuple(lines)
