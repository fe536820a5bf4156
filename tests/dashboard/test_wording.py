from __future__ import annotations

import re
from datetime import date, datetime
from pathlib import Path
from string import Formatter
from typing import Any

import pytest

import analytics.answer
import dashboard
from analytics.answer import Message, words
from analytics.scope import CLOCKS, COUNTING_RULES, GROUPS, OPTION_OF
from dashboard.components.card import TAKEN
from dashboard.sections.registry import SECTIONS
from dashboard.urls import LISTS, SUBJECTS
from dashboard.wording import Wording, phrases, shown
from tests.dashboard.conftest import ODD_NAME

SOURCES = sorted(Path(dashboard.__file__).parent.rglob("*.py"))
# METHODS section 0 names the reasons for which rows are left out.
REASONS = ("unknown_start", "no_clock", "no_position", "out_of_window")
# Words for names that come with an answer or an address: any of them may be there.
_NAMED = ("class", "depot", "locomotive", "component")
OPEN_GROUPS = ("column", "counted", *(word for kind in SECTIONS.values() for word in kind.choices))


def keys_in_code() -> set[str]:
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCES)
    groups = {key.split(".")[0] for key in phrases("en")}
    found = set(re.findall(r"""["']([a-z_]+\.[a-z_]+)["']""", text)) - {"page.children"}
    return {key for key in found if key.split(".")[0] in groups}


def keys_made_up_in_code() -> set[str]:
    """The keys that the code puts together from a group and a word."""
    return {
        *(f"{group}.{clock}" for group in ("clock", "unit", "per") for clock in (*CLOCKS, "own")),
        *(f"mtbf.axis_{clock}" for clock in CLOCKS),
        *(f"{group}.{rule}" for group in ("counting", "counting_short") for rule in COUNTING_RULES),
        *(f"column.{column}" for column in GROUPS),
        *(key for key in phrases("en") if key.split(".")[0] in OPEN_GROUPS),
        *(f"page.{page}" for page in LISTS),
        *(f"{page}.{word}" for page in LISTS for word in ("heading", "lead")),
        *(f"{kind}.{w}" for kind in SUBJECTS for w in ("unknown_title", "unknown", "to_all")),
        *(f"form.{form}" for form in TAKEN),
        *(f"left_out.{reason}" for reason in REASONS),
        *(f"filter.{word}" for word in OPTION_OF.values()),
        *(f"{name}.title" for name in SECTIONS),
        *(f"{name}.of_one" for name, kind in SECTIONS.items() if kind.of_one),
        *(f"scope.{word}{rest}" for word in _NAMED for rest in ("", "_all")),
        *(f"scope.pick_{kind}" for kind in SUBJECTS),
        *(f"scope.{word}" for word in ("clock", "counting", "since", "until", "level")),
        *(f"scope.{word}" for kind in SECTIONS.values() for word in kind.choices),
        *("mtbf.pointed_short", "mtbf.pointed_none_short"),
        *(found for found in phrases("en") if found.removeprefix("said.") in said_by_answers()),
    }


def is_put_together(key: str) -> bool:
    """Tell whether an f-string of the code can give this key."""
    text = "".join(path.read_text(encoding="utf-8") for path in SOURCES)
    made = set(
        re.findall(r"""f["']([a-z_][a-z_{}.]*\.[a-z_{}.]+|\{[a-z_]+\}\.[a-z_]+)["']""", text)
    )
    return any(re.fullmatch(_pattern(one), key) for one in made)


def _pattern(template: str) -> str:
    parts = re.split(r"(\{[^}]*\})", template)
    return "".join("[^.]+" if part.startswith("{") else re.escape(part) for part in parts)


def said_by_answers() -> dict[str, str]:
    """The sentences of the answers by their key as `[said]` writes it."""
    return {key.replace(".", "_"): sentence for key, sentence in words("en").items()}


def fields_of(sentence: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(sentence) if name is not None}


def test_sentences_of_a_page_need_no_more_values_than_those_they_stand_for() -> None:
    said = {key: text for key, text in phrases("en").items() if key.startswith("said.")}
    assert said
    for key, text in said.items():
        assert fields_of(text) <= fields_of(said_by_answers()[key.removeprefix("said.")])
        assert "`" not in text
        assert "--" not in text


def test_sentence_that_names_a_command_has_other_words_on_a_page(wording: Wording) -> None:
    said = wording.say(Message("mtbf.not_constant", rows=1, all=2))
    assert "In 1 of 2 rows" in said
    assert "look at how failures add up" in said
    assert phrases("en")["mcf.title"] == "How do failures add up?"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("injector", "Fuel injector x"),
        ("Alder, injector", "Alder, fuel injector x"),
        (("injector", "replaced"), "fuel injector, replaced by a new one x"),
        (ODD_NAME, f"{ODD_NAME} x"),
        ("A-07", "A-07 x"),
    ],
)
def test_names_in_sentences_become_labels(
    wording: Wording, monkeypatch: pytest.MonkeyPatch, value: Any, text: str
) -> None:
    monkeypatch.setattr(analytics.answer, "words", lambda _language="en": {"a.b": "{subject} x"})
    assert wording.say(Message("a.b", subject=value)) == text


@pytest.mark.parametrize(
    ("count", "text"), [(0, "0 failures"), (1, "1 failure"), (2, "2 failures")]
)
def test_nouns_follow_their_count(wording: Wording, count: int, text: str) -> None:
    assert wording.phrase("mtbf.failures", count=count) == text


def test_every_phrase_that_is_used_has_words_and_none_is_idle() -> None:
    used = keys_in_code() | keys_made_up_in_code()
    assert used - set(phrases("en")) == set()
    assert [key for key in set(phrases("en")) - used if not is_put_together(key)] == []


def test_rule_is_called_the_same_on_pages_and_in_the_terminal() -> None:
    """Oracle: the rule itself counts a remark too if it was made good."""
    told = words()["show.rectified"]
    assert told.endswith("made good")
    assert phrases("en")["counting.rectified"] == f"counting {told}"
    assert phrases("en")["counting_short.rectified"].endswith("or made good")


def test_language_without_words_falls_back_to_english() -> None:
    assert phrases("xx") == phrases("en")
    assert phrases("../en") == phrases("en")


def test_labels_come_from_the_catalogue(wording: Wording) -> None:
    assert wording.label("component", "injector") == "fuel injector"
    assert wording.heading("component", "injector") == "Fuel injector"
    assert wording.label("depot", "Mardelow") == "Mardelow"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "\u2013"),
        (float("nan"), "\u2013"),
        (True, "true"),
        (12_345, "12\u202f345"),
        (12_345.6, "12\u202f300"),
        (0.01234, "0.0123"),
        (datetime(2026, 5, 31), "2026-05-31"),
        (datetime(2026, 5, 31, 6, 30), "2026-05-31 06:30"),
        (date(2026, 5, 31), "2026-05-31"),
        ("Alder", "Alder"),
    ],
)
def test_values_are_shown_for_reading(value: Any, text: str) -> None:
    assert shown(value) == text
