"""Every sentence a wrong catalogue is answered with, and that all of them come at once."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.catalogue.load import load_catalogue, load_text
from analytics.errors import CatalogueError

GOOD = """
first_life_grace = 31
[class.Alder]
positions = { fuel-injector = 16 }
max_hours_per_day = 24
[component.fuel-injector]
system = "diesel engine"
clock = "hours"
positions = 1
defects = ["leaking", "worn"]
in_service = true
seen_by = ["daily"]
safety = false
label = "Injector"
[action.replaced]
effect = "renew"
[parameter.feed-pressure]
unit = "bar"
component = "fuel-injector"
reset_by = ["replaced"]
attend = { idle = { below = 0.5, above = 0.98 } }
physical = { min = 0, max = 10 }
[defect.leaking]
label = { en = "leaking", hu = "szivárog" }
"""

NAME = "a text that is not empty and has no blanks at its ends"
COUNT = "a whole number from 0 to 9999"
INJECTOR, PRESSURE = "component.fuel-injector", "parameter.feed-pressure"
LABEL = 'a table such as { en = "...", hu = "..." } or a text'

# What is replaced in GOOD, by what, and the one line that must come back.
WRONG = [
    ('system = "diesel engine"', "", f"{INJECTOR}: system is missing; it must be {NAME}"),
    ('"diesel engine"', '" diesel"', f"{INJECTOR}: system must be {NAME}, but is ' diesel'"),
    ('"diesel engine"', "7", f"{INJECTOR}: system must be {NAME}, but is 7"),
    ('"hours"', '"hour"', f"{INJECTOR}: clock must be one of hours, km, days, but is 'hour'"),
    ('clock = "hours"', "", f"{INJECTOR}: clock is missing; it must be one of hours, km, days"),
    ("clock =", "clok =", f"{INJECTOR}: key 'clok' is not known; nearest: clock"),
    ("positions = 1\n", "positions = -1\n", f"{INJECTOR}: positions must be {COUNT}, but is -1"),
    ("positions = 1\n", "positions = 1.5\n", f"{INJECTOR}: positions must be {COUNT}, but is 1.5"),
    (
        "positions = 1\n",
        "positions = true\n",
        f"{INJECTOR}: positions must be {COUNT}, but is true",
    ),
    (
        "positions = 1\n",
        "positions = 10000\n",
        f"{INJECTOR}: positions must be {COUNT}, but is 10000",
    ),
    (
        '["leaking", "worn"]',
        "[]",
        f"{INJECTOR}: defects must be a list of texts, each once, at least one, but is []",
    ),
    (
        '["leaking", "worn"]',
        '["worn", "worn"]',
        f"{INJECTOR}: defects must be a list of texts, each once, at least one, "
        "but is ['worn', 'worn']",
    ),
    (
        '["leaking", "worn"]',
        '"worn"',
        f"{INJECTOR}: defects must be a list of texts, each once, at least one, but is 'worn'",
    ),
    (
        'defects = ["leaking", "worn"]',
        "",
        f"{INJECTOR}: defects is missing; it must be a list of texts, each once, at least one",
    ),
    (
        '["daily"]',
        '["weekly"]',
        f"{INJECTOR}: seen_by must be a list of daily, workshop, en-route, each once, "
        "at least one, but is ['weekly']",
    ),
    (
        "in_service = true",
        "in_service = 1",
        f"{INJECTOR}: in_service must be true or false, but is 1",
    ),
    (
        "safety = false",
        'safety = "no"',
        f"{INJECTOR}: safety must be true or false, but is 'no'",
    ),
    ('"Injector"', '""', f"{INJECTOR}: label must be {LABEL}, but is ''"),
    (
        '"Injector"',
        '{ English = "Injector" }',
        f"{INJECTOR}.label: 'English' must be a language code such as en or hu",
    ),
    ('"Injector"', "{ en = 3 }", f"{INJECTOR}.label: en must be {NAME}, but is 3"),
    (
        "[defect.leaking]\nlabel",
        "[defect.leaking]\nlable",
        "defect.leaking: key 'lable' is not known; nearest: label",
    ),
    (
        '"renew"',
        '"fix"',
        "action.replaced: effect must be one of renew, restore, checked, defer, but is 'fix'",
    ),
    (
        'effect = "renew"',
        "",
        "action.replaced: effect is missing; it must be one of renew, restore, checked, defer",
    ),
    (
        "{ fuel-injector = 16 }",
        "{ fuel-injectr = 16 }",
        "class.Alder.positions: component 'fuel-injectr' is not known; nearest: fuel-injector",
    ),
    (
        "{ fuel-injector = 16 }",
        "{ fuel-injector = -1 }",
        f"class.Alder.positions: fuel-injector must be {COUNT}, but is -1",
    ),
    (
        "{ fuel-injector = 16 }",
        "16",
        "class.Alder: positions must be a table such as { fuel-injector = 16 }, but is 16",
    ),
    (
        "max_hours_per_day = 24",
        "max_hours_per_day = 0",
        "class.Alder: max_hours_per_day must be a number above 0, but is 0",
    ),
    (
        "max_hours_per_day = 24",
        "max_km_per_day = inf",
        "class.Alder: max_km_per_day must be a number above 0, but is inf",
    ),
    (
        '"bar"',
        '"barr"',
        f"{PRESSURE}: unit 'barr' is not known; write it like bar, mmH2O, degC, mm or percent",
    ),
    (
        '"bar"',
        '"mm water"',
        f"{PRESSURE}: unit 'mm water' is not known; write it like bar, mmH2O, degC, mm or percent",
    ),
    (
        'component = "fuel-injector"',
        'component = "injector"',
        f"{PRESSURE}: component 'injector' is not known; nearest: fuel-injector",
    ),
    (
        'reset_by = ["replaced"]',
        'reset_by = ["washed"]',
        f"{PRESSURE}: reset_by: action 'washed' is not known; known: replaced",
    ),
    (
        "above = 0.98",
        'above = "0.98"',
        f"{PRESSURE}.attend.idle: above must be a number, but is '0.98'",
    ),
    ("above = 0.98", "above = nan", f"{PRESSURE}.attend.idle: above must be a number, but is nan"),
    (
        "above = 0.98",
        "above = 0.5",
        f"{PRESSURE}.attend.idle: below must be less than above, but 0.5 is not less than 0.5",
    ),
    (
        "{ below = 0.5, above = 0.98 }",
        "{}",
        f"{PRESSURE}.attend.idle: there must be a number for above, for below, or for both",
    ),
    (
        "attend = { idle",
        "attend = { idel",
        f"{PRESSURE}.attend: key 'idel' is not known; nearest: idle",
    ),
    (
        "{ min = 0, max = 10 }",
        "{ min = 10, max = 0 }",
        f"{PRESSURE}.physical: min must be less than max, but 10 is not less than 0",
    ),
    (
        "{ min = 0, max = 10 }",
        "{ mim = 0, max = 10 }",
        f"{PRESSURE}.physical: key 'mim' is not known; nearest: min",
    ),
    ("= 31", "= true", f"top level: first_life_grace must be {COUNT}, but is true"),
    ("= 31", "= -1", f"top level: first_life_grace must be {COUNT}, but is -1"),
    (
        "[defect.leaking]",
        "[defects.leaking]",
        "top level: key 'defects' is not known; nearest: defect",
    ),
    (
        "first_life_grace = 31",
        "first_life_grac = 31",
        "top level: key 'first_life_grac' is not known; nearest: first_life_grace",
    ),
    (
        "[defect.leaking]",
        '[defect." leaking"]',
        'defect." leaking": a name must not be empty nor have blanks at its ends',
    ),
    (
        "[defect.leaking]",
        '[defect]\nworn = "worn"\n[defect.leaking]',
        "defect: worn must be a table such as [defect.NAME], but is 'worn'",
    ),
]


def problems_of(**files: str) -> list[str]:
    with pytest.raises(CatalogueError) as caught:
        load_text({f"{name}.toml": text for name, text in files.items()})
    return str(caught.value).split("\n")


def test_the_good_text_is_good() -> None:
    assert load_text({"engine.toml": GOOD}).positions("Alder", "fuel-injector") == 16


@pytest.mark.parametrize(("old", "new", "sentence"), WRONG, ids=[line for _, _, line in WRONG])
def test_wrong_content_is_named_with_table_key_and_file(old: str, new: str, sentence: str) -> None:
    assert GOOD.count(old) == 1
    assert f"{sentence} (engine.toml)" in problems_of(engine=GOOD.replace(old, new))


def test_one_fault_makes_one_line() -> None:
    assert len(problems_of(engine=GOOD.replace('"hours"', '"hour"'))) == 1


def test_a_quoted_name_is_shown_in_quotes() -> None:
    text = (
        GOOD + '[component."DOOR PROBLEMS - FAULTY EQUIPMENT"]\nsystem = "doors"\nclock = "days"\n'
    )
    assert problems_of(metro=text) == [
        'component."DOOR PROBLEMS - FAULTY EQUIPMENT": defects is missing; '
        "it must be a list of texts, each once, at least one (metro.toml)"
    ]


def test_a_name_with_a_dot_is_told_to_be_quoted() -> None:
    heading = "[component.fuel-injector.left]"
    found = problems_of(engine=GOOD.replace("[component.fuel-injector]", heading))
    hint = "; a name with a dot in it needs quotes (engine.toml)"
    assert [line for line in found if line.endswith(hint)]


def test_all_problems_come_in_one_message() -> None:
    text = GOOD.replace('"hours"', '"hour"').replace('"renew"', '"fix"').replace('"bar"', '"barr"')
    assert len(problems_of(engine=text)) == 3


@pytest.mark.parametrize("section", ["class", "component", "action"])
def test_a_catalogue_without_a_required_kind_is_refused(section: str) -> None:
    wanted = f"there is no [{section}.NAME] table; a catalogue needs at least one"
    assert wanted in problems_of(empty="# nothing yet")


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (
            "[class.Alder]\n\nclock = hours\n",
            "engine.toml, line 3: the value is not valid (texts need quotes; true and false lower "
            "case); the line reads: clock = hours",
        ),
        (
            "[class.Alder]\n[class.Alder]\n",
            "engine.toml, line 2: this table is given twice; the line reads: [class.Alder]",
        ),
        (
            "[class.Class 47]\n",
            "engine.toml, line 1: a table heading must end in ']' (a name with blanks needs "
            "quotes); the line reads: [class.Class 47]",
        ),
        (
            "a = 1\nfuel injector = 16\n",
            "engine.toml, line 2: a key must be followed by '=' (a name with blanks needs quotes); "
            "the line reads: fuel injector = 16",
        ),
        (
            "[class.Alder]\na = 1\na = 2\n",
            "engine.toml, line 3: this key is given twice; the line reads: a = 2",
        ),
        (
            "a = 1\nb = [1,\n",
            "engine.toml, at its end, line 2: the value is not valid (texts need quotes; true and "
            "false lower case); the line reads: b = [1,",
        ),
        (
            "b =\n  " + "[" * 5000,
            None,
        ),
        (
            "b = " + "[" * 5000,
            "engine.toml, at its end, line 1: brackets are nested too deep; "
            "the line reads: b = " + "[" * 76,
        ),
    ],
    ids=["value", "table-twice", "heading", "key", "key-twice", "open-list", "next-line", "deep"],
)
def test_text_that_is_not_toml_is_named_with_its_line(text: str, line: str | None) -> None:
    (found,) = problems_of(engine=text)
    assert found.startswith("engine.toml, ") if line is None else found == line


def test_syntax_is_reported_for_every_file_and_alone() -> None:
    found = problems_of(a="x", b=GOOD.replace('"hours"', '"hour"'), c="[")
    assert [line[:6] for line in found] == ["a.toml", "c.toml"]


def test_a_name_defined_in_two_files_names_both() -> None:
    again = "first_life_grace = 3\n[action.replaced]\neffect = 'renew'\n"
    assert problems_of(engine=GOOD, fuel=again) == [
        "action.replaced: is already defined in engine.toml; keep one of the two (fuel.toml)",
        "top level: first_life_grace is already given in engine.toml; keep one of the two "
        "(fuel.toml)",
    ]


def test_a_missing_path_is_named(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match="There is no catalogue file or folder '.*nowhere'"):
        load_catalogue(tmp_path / "nowhere")


def test_a_folder_without_toml_is_named(tmp_path: Path) -> None:
    (tmp_path / ".engine.toml").write_text(GOOD)  # hidden: an editor's own copy
    with pytest.raises(CatalogueError, match=r"holds no catalogue file \(\*\.toml\)"):
        load_catalogue(tmp_path)


def test_a_file_that_is_not_utf8_names_the_line(tmp_path: Path) -> None:
    (tmp_path / "engine.toml").write_bytes(b"# one\nlabel = '\xe1gy'\n")
    with pytest.raises(CatalogueError, match=r"engine\.toml, line 2: this is not UTF-8 text"):
        load_catalogue(tmp_path / "engine.toml")


def test_units_are_checked_only_when_asked() -> None:
    odd = GOOD.replace('"bar"', '"barr"')
    assert load_text({"a.toml": odd}, check_units=False).parameters["feed-pressure"].unit == "barr"


@pytest.mark.parametrize(
    "unit", ["bar", "mmH2O", "percent", "%", "degC", "°C", "V", "A", "g/cm^3", "1/min", "megaohm"]
)
def test_units_a_depot_uses_are_accepted(unit: str) -> None:
    load_text({"a.toml": GOOD.replace('"bar"', f'"{unit}"')})


@pytest.mark.parametrize("unit", ["3 bar", "bar bar", "€", "#", "(", "m**m", "1/0", "m^0", "°"])
def test_units_that_are_none_are_refused(unit: str) -> None:
    (line,) = problems_of(a=GOOD.replace('"bar"', f'"{unit}"'))
    assert line.startswith(f"{PRESSURE}: unit {unit!r} is not known")


@given(st.data())
def test_damaged_text_gives_a_catalogue_or_sentences(data: st.DataObject) -> None:
    """Hypothesis invariant: whatever is cut out or put in, no other exception comes out."""
    start = data.draw(st.integers(0, len(GOOD)))
    end = data.draw(st.integers(start, min(len(GOOD), start + 30)))
    middle = data.draw(st.text(st.sampled_from("[]{}=.,\"'\n 19-ab#\\"), max_size=8))
    text = GOOD[:start] + middle + GOOD[end:]
    try:
        words = load_text({"a.toml": text}, check_units=False).fingerprint
    except CatalogueError as error:
        words = str(error)
    assert words
