"""Every sentence the code can say exists in words/en.toml, and its blanks can be filled.

Oracle: the source itself, read as a syntax tree.
"""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Iterator
from pathlib import Path

import pytest

from analytics.answer import words

ROOT = Path(__file__).resolve().parents[2]
CLOCKS = ("hours", "km", "days")
SENTENCES = words()
GROUPS = {key.split(".")[0] for key in SENTENCES}
# Keys are written as constants `group.name`; only these groups are put together from parts.
BUILT = {"column", "paper"}


def sources() -> list[Path]:
    return sorted((ROOT / "analytics").rglob("*.py"))


def constants() -> Iterator[tuple[str, str]]:
    """Yield (file, text) of every string that looks like a key of a group that exists."""
    for path in sources():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if not (isinstance(node, ast.Constant) and isinstance(node.value, str)):
                continue
            found = re.fullmatch(r"([a-z]+)\.[a-z][a-z0-9_]*", node.value)
            if node.value.endswith(".sql"):
                continue
            if found and (found[1] in GROUPS or path.parent.name == "estimate"):
                yield path.name, node.value


def calls(name: str) -> Iterator[tuple[str, str, set[str]]]:
    """Yield (file, key, names given) of calls whose first argument is a constant."""
    for path in sources():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(node, ast.Call) and getattr(node.func, "id", "") == name):
                continue
            first = node.args[0] if node.args else None
            spread = any(keyword.arg is None for keyword in node.keywords)
            if isinstance(first, ast.Constant) and not spread:
                yield path.name, first.value, {str(k.arg) for k in node.keywords}


def blanks(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_key_in_the_source_has_a_sentence() -> None:
    missing = {
        (file, key)
        for file, key in constants()
        if key not in SENTENCES and f"{key}_hours" not in SENTENCES
    }
    assert missing == set()


def test_every_sentence_is_used() -> None:
    used = {key for _, key in constants()}
    used |= {f"{key}_{clock}" for key in used for clock in CLOCKS}
    unused = {key for key in SENTENCES if key.split(".")[0] not in BUILT and key not in used}
    assert unused == set()


def test_sentences_of_a_clock_exist_for_all_three() -> None:
    # A heading ends as its column does, whatever the clock.
    sentences = {key for key in SENTENCES if not key.startswith("column.")}
    stems = {key.removesuffix("_hours") for key in sentences if key.endswith("_hours")} - {
        "quality.no"
    }
    missing = [f"{s}_{c}" for s in stems for c in CLOCKS if f"{s}_{c}" not in SENTENCES]
    assert missing == []
    for stem in stems:
        assert len({frozenset(blanks(SENTENCES[f"{stem}_{clock}"])) for clock in CLOCKS}) == 1, stem


@pytest.mark.parametrize(("file", "key", "given"), list(calls("Message")))
def test_messages_fill_every_blank(file: str, key: str, given: set[str]) -> None:
    assert blanks(SENTENCES[key]) == given, file


@pytest.mark.parametrize(("file", "key", "given"), list(calls("on_clock")))
def test_messages_of_a_clock_fill_every_blank(file: str, key: str, given: set[str]) -> None:
    for clock in CLOCKS:
        assert blanks(SENTENCES[f"{key}_{clock}"]) <= given, file


def test_remarks_of_the_estimators_have_no_blanks() -> None:
    """They are put beside rows and curves as they are."""
    said = {
        node.value
        for path in sorted((ROOT / "analytics" / "estimate").glob("*.py"))
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Constant) and node.value in SENTENCES
    }
    assert said
    assert {key for key in said if blanks(SENTENCES[key])} == set()
