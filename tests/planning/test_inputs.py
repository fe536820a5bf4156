"""A planner's file: read in both forms, and one sentence for every row that cannot be used."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.catalogue.load import shipped_catalogue
from analytics.errors import PlanError
from analytics.planning.inputs import (
    Berth,
    Costs,
    Days,
    DueVisit,
    Job,
    Labour,
    PlanInputs,
    Spare,
    Traffic,
)
from analytics.planning.read_inputs import read_inputs, read_inputs_text
from analytics.planning.template import to_toml, write_example, write_template

CATALOGUE = shipped_catalogue()
FLEET = {f"A-{n:02}": "Alder" for n in range(1, 25)} | {f"R-{n:02}": "Rowan" for n in range(1, 25)}
TODAY = date(2026, 6, 1)
GOOD = """
[costs]
day_out = 2000
[[berths]]
berth = "1"
open = ["Mon", "Tue", "Wed", "Thu", "Fri"]
[[labour]]
skill = "fitter"
hours = 16
"""


def visit(locomotive: str, earliest: str, latest: str) -> str:
    return (
        f'[[visits]]\nlocomotive = "{locomotive}"\nvisit = "v"\nearliest = {earliest}\n'
        f"latest = {latest}"
    )


def faults(text: str) -> str:
    with pytest.raises(PlanError) as refused:
        read_inputs_text(text, CATALOGUE, FLEET, first_day=TODAY)
    return str(refused.value)


@pytest.mark.parametrize("ending", ["toml", "xlsx"])
def test_shipped_example_reads_the_same_in_both_forms(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"planning.{ending}"
    write_example(path)
    found = read_inputs(path, CATALOGUE, FLEET, first_day=TODAY)
    assert [berth.name for berth in found.berths] == ["1", "2", "3"]
    assert found.berths[2].open.weekdays == (0, 1, 2, 3, 4, 5)
    assert found.spares[0] == Spare("injector set", 8, 2, 1400.0)
    assert found.costs.day_out_of("Rowan") == 2400
    assert read_inputs_text(to_toml(found), CATALOGUE, FLEET) == found


@pytest.mark.parametrize("ending", ["toml", "xlsx"])
def test_template_is_refused_while_its_example_is_in_it(tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"planning.{ending}"
    write_template(path)
    with pytest.raises(PlanError, match="template's example"):
        read_inputs(path, CATALOGUE, FLEET, first_day=TODAY)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (
            '[[berths]]\nberth = "2"\nfrom = 2026-06-08\nto = 2026-06-03',
            ("[[berths]] 2", "2 closes before it opens", "2026-06-08", "2026-06-03"),
        ),
        (
            '[[labour]]\nskill = "x"\nhours = -8',
            ("[[labour]] 2", "hours should be 0 or more", "-8"),
        ),
        (
            '[[jobs]]\njob = "x"\ncomponents = ["fuel-injector"]\nhours = { fitter = -8 }',
            ("[[jobs]] 1", "hours", "none below 0"),
        ),
        (
            '[[jobs]]\njob = "x"\ncomponents = ["steam-dome"]',
            ("[[jobs]] 1", "component 'steam-dome' is not known"),
        ),
        (
            '[[jobs]]\njob = "x"\ncomponents = ["fuel-injectr"]',
            ("'fuel-injectr'", "nearest: fuel-injector"),
        ),
        (
            visit("A-01", "2026-05-01", "2026-05-20"),
            ("[[visits]] 1", "2026-05-20 lies before the first day of the plan"),
        ),
        (
            visit("A-01", "2026-06-20", "2026-06-10"),
            ("[[visits]] 1", "v ends before it begins"),
        ),
        (
            visit("A-1", "2026-06-10", "2026-06-20"),
            ("locomotive 'A-1' is not known", "A-"),
        ),
        (
            '[[visits]]\nlocomotive = "A-01"\nvisit = "v"\nearliest = 2026-06-06\n'
            "latest = 2026-06-07",
            ("v of A-01 needs 1 open days, and no berth has as many",),
        ),
        ('[[traffic]]\nclass = "Alder"\nleast = 25', ("at least 25 Alder", "there are 24")),
        ('[[berths]]\nberth = "1"', ("'1' stands here a second time",)),
        ('[[berths]]\nberth = "3"\nopn = "Mon"', ("column 'opn' is not known; nearest: open",)),
        ('[[spares]]\nspare = "x"', ("[[spares]] 1", "on_hand is empty")),
        ("[plan]\nweeks = 60", ("weeks should be 52 or less",)),
        ("[plan]\nweeks = 1.5", ("weeks should be a whole number",)),
        ('[[orders]]\nspare = "y"\ndue = 2026-07-01\nnumber = 1', ("spare 'y' is not known",)),
        (
            '[[jobs]]\njob = "x"\ncomponents = ["battery"]\nhours = "welder 8"',
            ("skill 'welder' is not known", "fitter"),
        ),
        (
            '[[jobs]]\njob = "x"\ncomponents = ["battery"]\n'
            '[[jobs]]\njob = "y"\ncomponents = ["battery"]',
            ("battery also belongs to job",),
        ),
        ('[[closed]]\nberth = "9"\nfrom = 2026-07-01\nto = 2026-07-02', ("berth '9'",)),
        ('[[closed]]\nfrom = "soon"\nto = 2026-07-02', ("from should be a date", "'soon'")),
        ('[[berths]]\nberth = "3"\nopen = "Funday"', ("open should be weekdays", "'Funday'")),
        ('[[wagons]]\nname = "x"', ("'wagons' is not one of a plan's",)),
    ],
)
def test_every_bad_row_gets_a_sentence(more: str, words: tuple[str, ...]) -> None:
    said = faults(f"{GOOD}\n{more}")
    assert all(word in said for word in words), said
    assert len(said.splitlines()) <= 2


def test_all_bad_rows_are_told_at_once() -> None:
    said = faults(
        '[costs]\nday_out = -1\n[[berths]]\nberth = "1"\nfrom = 2026-07-02\nto = 2026-07-01'
    )
    assert len(said.splitlines()) == 2


def test_more_visits_than_berth_days_name_the_visits_and_the_shortage() -> None:
    visits = "".join(
        f'\n[[visits]]\nlocomotive = "A-{n:02}"\nvisit = "inspection"\nearliest = 2026-06-01\n'
        f"latest = 2026-06-05\ndays = 2"
        for n in (1, 2, 3)
    )
    said = faults(GOOD + visits)  # one berth, Monday to Friday: 5 days for 6
    assert "need 6 berth-days, but only 5 are open" in said
    assert "inspection of A-01, inspection of A-02, inspection of A-03" in said


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "holds no row"), (b"day_out = ", "is not TOML"), (b"\xff\xfe\x00x", "neither UTF-8")],
)
def test_file_that_is_none_gets_a_sentence(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "planning.toml"
    path.write_bytes(content)
    with pytest.raises(PlanError, match=words):
        read_inputs(path, CATALOGUE, FLEET)
    with pytest.raises(PlanError, match="not there, or not an XLSX"):
        read_inputs(tmp_path / "no.xlsx", CATALOGUE, FLEET)


def test_missing_tables_are_named() -> None:
    assert "table costs is missing" in faults('[[berths]]\nberth = "1"')
    assert "table berths is missing" in faults("[costs]\nday_out = 1")


NAMES = st.text(
    st.characters(exclude_categories=("Cs", "Cc", "Zs", "Zl", "Zp"), exclude_characters=";,:="),
    min_size=1,
    max_size=8,
)
DATES = st.dates(TODAY, date(2026, 12, 31))
DAYS = st.builds(Days, st.sampled_from([(0, 1, 2, 3, 4, 5, 6), (0, 1, 2, 3, 4), (2, 5)]),
                 st.none() | DATES)  # fmt: skip


@settings(max_examples=60)
@given(
    inputs=st.builds(
        PlanInputs,
        costs=st.builds(Costs, st.floats(0, 1e6), st.floats(0, 1e3)),
        berths=st.lists(st.builds(Berth, NAMES, DAYS), min_size=1, max_size=3,
                        unique_by=lambda one: one.name).map(tuple),
        labour=st.just((Labour("fitter", 8.5, Days()),)),
        jobs=st.builds(
            lambda name, days, hours: (Job(name, ("battery",), days, hours={"fitter": hours}),),
            NAMES, st.integers(1, 5), st.floats(0, 99),
        ),
        spares=st.lists(
            st.builds(Spare, NAMES, st.integers(0, 9), st.integers(0, 3), st.floats(0, 1e4)),
            max_size=3, unique_by=lambda one: one.name,
        ).map(tuple),
        visits=DATES.map(lambda day: (DueVisit("A-01", "v", day, date(2027, 6, 1), 2),)),
        traffic=st.integers(0, 24).map(lambda n: (Traffic("Alder", n, Days((0, 1))),)),
        weeks=st.integers(1, 52),
        first_day=st.none() | DATES,
    )
)  # fmt: skip
def test_written_out_and_read_again_is_the_same(inputs: PlanInputs) -> None:
    assert read_inputs_text(to_toml(inputs), CATALOGUE, FLEET) == inputs
