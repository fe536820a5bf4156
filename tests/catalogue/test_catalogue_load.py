"""Loading, merging, defaults, fingerprint, labels and the rows handed to the store."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.catalogue.load import load_catalogue, load_text, read_files
from analytics.catalogue.model import CLOCKS, EFFECTS, Catalogue, Limit
from analytics.errors import CatalogueError

SMALL = """
[class.Alder]
[component.reverser]
system = "cubicle"
clock = "hours"
defects = ["burnt", "worn"]
[action.replaced]
effect = "renew"
"""

FULL = """
first_life_grace = 20
[class.Alder]
positions = { injector = 16, horn = 0 }
max_hours_per_day = 24
max_km_per_day = 1500
label = { en = "Alder type", hu = "Alder sorozat" }
[class.Rowan]
[component.injector]
system = "engine"
clock = "hours"
positions = 12
defects = ["leaking", "worn"]
in_service = true
seen_by = ["workshop", "daily"]
label = { hu = "porlasztó" }
[component.horn]
system = "signals"
clock = "days"
defects = ["silent"]
safety = true
label = "Horn"
[action.replaced]
effect = "renew"
[action.washed]
effect = "restore"
[parameter.pressure]
unit = "bar"
component = "injector"
reset_by = ["washed", "replaced"]
attend = { idle = { above = 0.98 }, any = { below = 0.1, above = 2 } }
withhold = { rated = { below = 0 } }
physical = { min = 0, max = 10 }
[defect.silent]
label = { en = "not sounding" }
[system.signals]
label = { hu = "jelzések" }
"""


@pytest.fixture(scope="module")
def full() -> Catalogue:
    return load_text({"full.toml": FULL})


def test_defaults_are_those_of_the_design() -> None:
    catalogue = load_text({"small.toml": SMALL})
    reverser = catalogue.components["reverser"]
    assert (reverser.positions, reverser.in_service, reverser.safety) == (1, False, False)
    assert reverser.seen_by == ("daily", "workshop")
    assert catalogue.first_life_grace_days == 31
    assert catalogue.classes["Alder"].max_hours_per_day is None
    assert catalogue.classes["Alder"].max_km_per_day is None
    assert list(catalogue.defects) == ["burnt", "worn"]
    assert list(catalogue.systems) == ["cubicle"]


def test_values_arrive_as_written(full: Catalogue) -> None:
    parameter = full.parameters["pressure"]
    assert (parameter.unit, parameter.component) == ("bar", "injector")
    assert parameter.reset_by == ("washed", "replaced")
    assert (parameter.physical_min, parameter.physical_max) == (0.0, 10.0)
    assert parameter.withhold == {"rated": Limit(above=None, below=0.0)}
    assert full.classes["Alder"].max_km_per_day == 1500.0
    assert full.actions["washed"].effect == "restore"
    assert full.first_life_grace_days == 20


def test_positions_follow_the_class_then_the_component(full: Catalogue) -> None:
    assert full.positions("Alder", "injector") == 16
    assert full.positions("Rowan", "injector") == 12
    assert full.positions("Alder", "horn") == 0
    assert full.positions("Rowan", "horn") == 1


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (("Aldr", "horn"), "class 'Aldr' is not known; nearest: Alder."),
        (("Alder", "hron"), "component 'hron' is not known; nearest: horn."),
    ],
)
def test_positions_of_an_unknown_name_are_refused(
    full: Catalogue, asked: tuple[str, str], sentence: str
) -> None:
    with pytest.raises(CatalogueError) as caught:
        full.positions(*asked)
    assert str(caught.value) == sentence


def test_limits_of_a_running_state_come_before_those_of_any(full: Catalogue) -> None:
    parameter = full.parameters["pressure"]
    assert parameter.attend_limit("idle") == Limit(above=0.98, below=None)
    assert parameter.attend_limit("rated") == Limit(above=2.0, below=0.1)
    assert parameter.attend_limit(None) == Limit(above=2.0, below=0.1)
    assert parameter.withhold_limit("idle") is None


def test_a_value_at_the_limit_is_good() -> None:
    limit = Limit(above=30.0, below=10.0)
    assert [limit.passed_by(v) for v in (9.9, 10.0, 30.0, 30.1)] == [True, False, False, True]
    assert not Limit(above=None, below=10.0).passed_by(1e9)


def test_labels_fall_back_to_english_then_to_the_name(full: Catalogue) -> None:
    assert full.label("class", "Alder", "hu") == "Alder sorozat"
    assert full.label("class", "Alder", "de") == "Alder type"
    assert full.label("component", "injector", "hu") == "porlasztó"
    assert full.label("component", "injector", "en") == "injector"
    assert full.label("component", "horn", "hu") == "Horn"
    assert full.label("defect", "silent", "hu") == "not sounding"
    assert full.label("system", "signals", "hu") == "jelzések"
    assert full.label("action", "washed", "hu") == "washed"
    assert full.label("defect", "since taken out") == "since taken out"


def test_a_label_of_an_unknown_kind_is_refused(full: Catalogue) -> None:
    with pytest.raises(CatalogueError, match="kind of name 'klass' is not known; nearest: class"):
        full.label("klass", "Alder")


def test_a_folder_gives_the_same_catalogue_as_one_file(tmp_path: Path, full: Catalogue) -> None:
    head, tail = FULL.split("[action.replaced]")
    (tmp_path / "b.toml").write_text(head, encoding="utf-8-sig")  # with a byte order mark
    (tmp_path / "a.TOML").write_text("[action.replaced]" + tail, encoding="utf-8", newline="\r\n")
    (tmp_path / "notes.txt").write_text("not read")
    assert list(read_files(tmp_path)) == ["a.TOML", "b.toml"]
    assert load_catalogue(tmp_path) == full
    (tmp_path / "one.toml").write_text(FULL, encoding="utf-8")
    assert load_catalogue(str(tmp_path / "one.toml")) == full


REWRITTEN = """
# The same as FULL: other order, comments, tables written out, defaults written out.
[system.signals]
label.hu = "jelzések"
[defect]
silent = { label = "not sounding" } # a plain text is the label for every language
leaking = {}
[action.washed]
effect = 'restore'
[parameter.pressure]
physical = { max = 10.0, min = 0.0 }
reset_by = ["replaced", "washed"]
unit = "bar"
component = "injector"
withhold.rated.below = 0
[parameter.pressure.attend]
any = { above = 2.0, below = 0.1 }
idle = { above = 0.98 }
[action.replaced]
effect = "renew"
[component.horn]
positions = 1
in_service = false
seen_by = ["workshop", "daily"]
system = "signals"
clock = "days"
defects = ["silent"]
safety = true
label = { en = "Horn" }
[component.injector]
label = { hu = "porlasztó" }
defects = ["worn", "leaking"]
positions = 12
in_service = true
system = "engine"
clock = "hours"
[class.Rowan]
[class.Alder]
max_km_per_day = 1500.0
max_hours_per_day = 24
label = { hu = "Alder sorozat", en = "Alder type" }
[class.Alder.positions]
horn = 0
injector = 16
"""


def test_fingerprint_ignores_order_comments_layout_and_files(full: Catalogue) -> None:
    files = {"z.toml": REWRITTEN, "a.toml": "first_life_grace = 20"}
    assert load_text(files).fingerprint == full.fingerprint
    assert load_text(dict(reversed(files.items()))).fingerprint == full.fingerprint
    assert len(full.fingerprint) == 64


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("injector = 16", "injector = 15"),
        ("first_life_grace = 20", "first_life_grace = 21"),
        ("above = 0.98", "above = 0.99"),
        ('"renew"', '"restore"'),
        ("porlasztó", "befecskendező"),
        ("max = 10", "max = 11"),
        ('"leaking", "worn"', '"leaking"'),
        ("[class.Rowan]", "[class.Rowen]"),
        ("safety = true", "safety = false"),
    ],
)
def test_fingerprint_follows_the_content(full: Catalogue, old: str, new: str) -> None:
    assert load_text({"full.toml": FULL.replace(old, new)}).fingerprint != full.fingerprint


def test_tables_are_plain_rows(full: Catalogue) -> None:
    """Oracle: the rows of FULL written out by hand."""
    tables = full.tables()
    assert tables["component"][1] == {
        "component": "horn",
        "system": "signals",
        "clock": "days",
        "in_service": False,
        "safety": True,
    }
    assert tables["component_defect"] == [
        {"component": "injector", "defect": "leaking"},
        {"component": "injector", "defect": "worn"},
        {"component": "horn", "defect": "silent"},
    ]
    assert {"component": "injector", "kind": "workshop"} in tables["component_seen_by"]
    assert {"class": "Alder", "component": "horn", "positions": 0} in tables["class_component"]
    assert tables["class_limit"] == [
        {"class": "Alder", "max_hours_per_day": 24.0, "max_km_per_day": 1500.0},
        {"class": "Rowan", "max_hours_per_day": None, "max_km_per_day": None},
    ]
    assert tables["action"] == [
        {"action": "replaced", "effect": "renew"},
        {"action": "washed", "effect": "restore"},
    ]
    assert tables["parameter"] == [
        {
            "parameter": "pressure",
            "unit": "bar",
            "component": "injector",
            "physical_min": 0.0,
            "physical_max": 10.0,
        }
    ]
    assert tables["parameter_reset"] == [
        {"parameter": "pressure", "action": "washed"},
        {"parameter": "pressure", "action": "replaced"},
    ]


# Free text as a depot writes it: blanks, dots, hyphens, accents, digits.
NAMES = st.text(st.sampled_from("aZ09 .-_'/űé"), min_size=1, max_size=12).map(str.strip)
DISTINCT_NAMES = st.lists(NAMES.filter(bool), min_size=1, max_size=5, unique=True)


@given(
    classes=DISTINCT_NAMES,
    components=DISTINCT_NAMES,
    data=st.data(),
)
def test_tables_cover_each_class_and_component_once(
    classes: list[str], components: list[str], data: st.DataObject
) -> None:
    """Hypothesis invariant: the rows give back what was written, for any free-text names."""
    counts = st.integers(0, 9999)
    default = {c: data.draw(counts) for c in components}
    pairs = st.sampled_from([(k, c) for k in classes for c in components])
    override = data.draw(st.dictionaries(pairs, counts))
    lines = ["[action.replaced]", f'effect = "{data.draw(st.sampled_from(EFFECTS))}"']
    for name in components:
        clock = data.draw(st.sampled_from(CLOCKS))
        lines += [f'[component."{name}"]', f'system = "{name}"', f'clock = "{clock}"']
        lines += ['defects = ["worn"]', f"positions = {default[name]}"]
    for name in classes:
        lines += [f'[class."{name}".positions]']
        lines += [f'"{c}" = {n}' for (k, c), n in override.items() if k == name]
    rows = load_text({"a.toml": "\n".join(lines)}).tables()["class_component"]
    found = {(row["class"], row["component"]): row["positions"] for row in rows}
    assert len(rows) == len(found) == len(classes) * len(components)
    assert found == {(k, c): override.get((k, c), default[c]) for k in classes for c in components}
