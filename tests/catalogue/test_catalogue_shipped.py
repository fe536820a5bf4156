"""The catalogue that comes with shedbook: complete, labelled, and cautious."""

from __future__ import annotations

import pytest

from analytics.catalogue.load import load_text, shipped_catalogue, shipped_files
from analytics.catalogue.model import EFFECTS, Catalogue

# What a daily inspection of a diesel-electric locomotive goes through (common practice, no source),
# with parts that must be there by name.
SYSTEMS = {
    "high-voltage cubicle": [
        "electromagnetic-contactor",
        "electro-pneumatic-contactor",
        "control-relay",
        "earth-fault-relay",
        "earth-fault-relay-cut-out",
        "fuse",
        "field-resistor",
        "shunt-resistor",
        "reverser",
    ],
    "driver's controls": ["master-controller", "vigilance-device"],
    "diesel engine": [
        "lubricating-oil",
        "lubricating-oil-pump",
        "governor",
        "injection-pump-rack-linkage",
        "fuel-injector",
        "injector-pipe",
        "valve-gear",
        "turbocharger",
        "crankcase-ventilation",
    ],
    "fuel system": [
        "fuel-feed-pump",
        "fuel-feed-pump-motor",
        "fuel-coarse-filter",
        "fuel-fine-filter",
    ],
    "compressor": ["air-compressor"],
    "cardan shafts": ["cardan-shaft"],
    "cooling": [
        "radiator-shutter",
        "shutter-linkage",
        "cooling-fan",
        "hydrostatic-drive",
        "cooling-hose",
        "cooling-sleeve",
    ],
    "electrical machines": [
        "main-generator-commutator",
        "exciter-set",
        "tacho-generator",
        "traction-motor-commutator",
        "traction-motor-brush",
        "traction-motor-brush-holder",
        "slip-ring",
    ],
    "traction-motor blowers": ["traction-motor-blower"],
    "battery and charging": ["battery", "auxiliary-generator"],
    "lights and signals": ["headlight", "horn"],
    "fire extinguishing": ["fire-extinguisher"],
    "tools and spares": ["tool-kit"],
    "sign-off and fuelling": ["inspection-sheet", "fuel-level"],
    "brakes": ["driver-brake-valve", "brake-block"],
}

PARAMETERS = [
    "fuel-feed-pressure",
    "crankcase-depression",
    "reverser-contact-area",
    "battery-current",
    "battery-voltage",
    "lubricating-oil-level",
    "lubricating-oil-pressure",
    "lubricating-oil-temperature",
    "cooling-water-temperature",
    "traction-motor-brush-length",
    "traction-motor-commutator-wear",
]


@pytest.fixture(scope="module")
def shipped() -> Catalogue:
    return shipped_catalogue()


def test_every_system_of_a_daily_inspection_is_there(shipped: Catalogue) -> None:
    assert list(shipped.systems) == list(SYSTEMS)
    for system, parts in SYSTEMS.items():
        missing = [p for p in parts if shipped.components[p].system != system]
        assert not missing, f"{system} lacks {missing}"


def test_components_have_two_to_six_defects(shipped: Catalogue) -> None:
    assert 60 <= len(shipped.components) <= 100
    assert all(2 <= len(c.defects) <= 6 for c in shipped.components.values())


def test_everything_has_words_in_english_and_hungarian(shipped: Catalogue) -> None:
    for kind, entries in shipped.by_kind().items():
        if kind != "class":  # the two example classes go by their names
            lacking = [name for name, e in entries.items() if set(e.labels) != {"en", "hu"}]
            assert not lacking, f"{kind} without both labels: {lacking}"


def test_components_and_defects_have_words_of_their_own(shipped: Catalogue) -> None:
    for kind in ("component", "action", "parameter", "system"):
        for language in ("en", "hu"):
            words = [shipped.label(kind, n, language) for n in shipped.by_kind()[kind]]
            assert len(set(words)) == len(words), f"{kind} labels repeat in {language}"


def test_no_word_is_kept_for_a_defect_no_component_lists(shipped: Catalogue) -> None:
    listed = {defect for c in shipped.components.values() for defect in c.defects}
    assert set(shipped.defects) == listed


def test_example_classes_have_their_machines(shipped: Catalogue) -> None:
    assert list(shipped.classes) == ["Alder", "Rowan"]
    expected = {
        "traction-motor-commutator": (6, 4),
        "fuel-injector": (16, 12),
        "brake-block": (12, 8),
    }
    for component, numbers in expected.items():
        assert tuple(shipped.positions(c, component) for c in shipped.classes) == numbers
    assert shipped.positions("Rowan", "fixed-extinguishing-system") == 0
    assert [c.max_hours_per_day for c in shipped.classes.values()] == [24, 24]


def test_every_effect_has_an_action(shipped: Catalogue) -> None:
    assert {action.effect for action in shipped.actions.values()} == set(EFFECTS)


def test_safety_components_are_marked(shipped: Catalogue) -> None:
    """Brakes, fire extinguishing, earth fault, control: common practice, no source."""
    brakes = [c for c in shipped.components.values() if c.system == "brakes"]
    assert all(c.safety for c in brakes if c.name != "sanding-gear")
    fire = [c for c in shipped.components.values() if c.system == "fire extinguishing"]
    assert all(c.safety for c in fire)
    for name in ("earth-fault-relay", "earth-fault-relay-cut-out", "master-controller", "reverser"):
        assert shipped.components[name].safety
    earth = [c for c in shipped.components.values() if "earth-fault" in c.defects]
    assert earth
    assert all(c.safety for c in earth)


def test_limits_given_by_the_trade(shipped: Catalogue) -> None:
    """Common practice, no source; one technical atmosphere is 0.980665 bar."""
    assert set(PARAMETERS) <= set(shipped.parameters)
    feed = shipped.parameters["fuel-feed-pressure"].attend
    assert feed["idle"].above == pytest.approx(1.0 * 0.980665, abs=0.005)
    assert feed["rated"].above == pytest.approx(1.3 * 0.980665, abs=0.005)
    depression = shipped.parameters["crankcase-depression"].attend
    assert (depression["idle"].below, depression["idle"].above) == (10, 30)
    assert (depression["rated"].below, depression["rated"].above) == (10, 50)
    assert shipped.parameters["reverser-contact-area"].attend["stopped"].below == 80
    assert shipped.parameters["battery-current"].attend["idle"].below == 0


def test_limits_lie_inside_the_physical_range(shipped: Catalogue) -> None:
    for parameter in shipped.parameters.values():
        low, high = parameter.physical_min, parameter.physical_max
        assert low is not None
        assert high is not None
        for limit in (*parameter.attend.values(), *parameter.withhold.values()):
            bounds = [b for b in (limit.above, limit.below) if b is not None]
            assert all(low <= b <= high for b in bounds), parameter.name


def test_withholding_is_never_milder_than_attending(shipped: Catalogue) -> None:
    for parameter in shipped.parameters.values():
        for state, withhold in parameter.withhold.items():
            attend = parameter.attend_limit(state)
            assert attend is not None
            if withhold.above is not None:
                assert attend.above is not None
                assert attend.above < withhold.above
            if withhold.below is not None:
                assert attend.below is not None
                assert attend.below > withhold.below


def test_files_open_with_a_header_that_says_what_they_are() -> None:
    for name, text in shipped_files().items():
        assert text.startswith("# "), name
        if name[0].isdigit():
            head = " ".join(text.split("\n\n")[0].replace("#", "").split())
            assert "the maker's manual and local rules come first" in head, name


def test_cubicle_file_carries_its_caution() -> None:
    head = " ".join(shipped_files()["01-high-voltage-cubicle.toml"].split("\n\n")[0].split("# "))
    words = " ".join(head.split())
    assert "engine stopped and the equipment dead" in words
    assert "Fuses are replaced, never bridged" in words
    assert "earth-fault relay cut out is not sent out until the fault is found" in words


def test_kept_text_gives_the_same_catalogue(shipped: Catalogue) -> None:
    assert load_text(shipped_files(), check_units=False) == shipped
