"""A mapping is proposed by headings and values, each line with how sure it is; nothing is applied.

Expected outcomes are hand-written; the words for things are common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.catalogue.load import load_text, shipped_catalogue
from analytics.errors import InputError
from analytics.intake.mapping import parse_mapping
from analytics.intake.propose import Proposal, proposal_text, propose_mapping
from analytics.intake.tables import TABLES
from tests.intake.depot import CATALOGUE, counts
from tests.intake.test_mapping_files import deliver

LABELLED = CATALOGUE.replace(
    "[component.battery]\n", '[component.battery]\nlabel = { en = "battery", hu = "akkumulátor" }\n'
)
DAY = """Napi vizsgálati lap;;;;;;;
Pályaszám;Kelt;Részegység;Hibajelenség;Intézkedés;Állásidő;Aláírva;Feed pressure (bar)
A1;2024.05.01.;fuel injector;LEAKING;put off;1,5;igen;5,5
B1;2024.05.02.;Akkumulator;discharged;adjusted;2;nem;5
B1;2024.05.03.;;;;;igen;
"""


def propose(folder: Path, text: str, name: str = "lap.csv", **options: list[str]) -> Proposal:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    catalogue = load_text({"depot.toml": LABELLED}, check_units=False)
    return propose_mapping(path, catalogue, **options)


def test_sheet_in_hungarian_is_proposed_and_then_goes_in(tmp_path: Path) -> None:
    proposal = propose(tmp_path, DAY, locomotives=["A1", "B1"])
    assert proposal.table == "combined"
    assert {line.ours: line.theirs for line in proposal.columns} == {
        "locomotive": "Pályaszám",
        "inspected_at": "Kelt",
        "component": "Részegység",
        "defect": "Hibajelenség",
        "action": "Intézkedés",
        "down_hours": "Állásidő",
        "signed": "Aláírva",
        "feed-pressure": "Feed pressure (bar)",
    }
    assert all(0.6 <= line.sure <= 1 for line in proposal.columns)
    assert (proposal.lacking, proposal.not_read) == ((), ())
    values = {h: {v.theirs: v.ours for v in lines} for h, lines in proposal.values.items()}
    assert values == {
        "signed": {"igen": "yes", "nem": "no"},
        "component": {"Akkumulator": "battery", "fuel injector": "fuel-injector"},
        "defect": {"LEAKING": "leaking"},
        "action": {"put off": "put-off"},
    }
    text = proposal_text(proposal)
    assert "locomotive = \"Pályaszám\"  # 98%: heading like 'pályaszám'; 100% of its values" in text
    _, delivery = deliver(tmp_path, {"lap.csv": DAY}, text)
    assert counts(delivery) == [(3, 0, 0, 0)]


def test_what_is_not_sure_is_written_commented_out(tmp_path: Path) -> None:
    text = "Fahrzeug;Datum;Bauteil;Schaden\nA1;01.05.2024;Zzz;leakin\n"
    proposal = propose(tmp_path, text)
    assert proposal.table == "findings"
    written = proposal_text(proposal)
    assert '# Zzz = ""  # 0%: nothing like it is known' in written
    assert '\nleakin = "leaking"  # ' in written
    assert parse_mapping(written, "m.toml").tables[0].values["component"] == {}


def test_required_column_that_is_not_found_is_named(tmp_path: Path) -> None:
    proposal = propose(tmp_path, "loco,date,part,colour\nA1,2024-05-01,battery,red\n")
    assert (proposal.table, proposal.lacking, proposal.not_read) == (
        "findings",
        ("defect",),
        ("colour",),
    )
    written = proposal_text(proposal)
    assert '# defect = ""  # not found, but findings needs it' in written
    assert "# Not used: 'colour'" in written


def test_values_speak_where_the_heading_says_nothing(tmp_path: Path) -> None:
    rows = "".join(f"A1,2024-05-{day:02},battery,discharged\n" for day in range(1, 20))
    proposal = propose(tmp_path, "A,B,C,D\n" + rows, locomotives=["A1"])
    found = {line.ours: line for line in proposal.columns}
    assert found["component"].theirs == "C"
    assert found["component"].why.startswith("a heading unlike any of ours; 100% of its values")
    assert found["locomotive"].theirs == "A"


def test_heading_that_lies_is_not_believed(tmp_path: Path) -> None:
    text = "locomotive,Date,read_at\nA1,2024-05-01,north\nA1,2024-05-02,south\n"
    found = {line.ours: line.theirs for line in propose(tmp_path, text).columns}
    assert found["read_at"] == "Date"


@pytest.mark.parametrize("table", TABLES)
def test_our_own_headings_are_recognised_as_they_are(tmp_path: Path, table: str) -> None:
    samples = {"instant": "2024-05-01", "number": "1", "yes-no": "yes", "position": "1"}
    known = {"component": "battery", "defect": "discharged", "action": "adjusted", "class": "Alder"}
    cells = [
        known.get(c.name, samples.get(c.kind, c.choices[0] if c.choices else "A1"))
        for c in TABLES[table].columns
    ]
    text = f"{','.join(TABLES[table].headings)}\n{','.join(cells)}\n"
    proposal = propose(tmp_path, text)
    assert proposal.table == table
    assert {line.ours: line.theirs for line in proposal.columns} == {
        name: name for name in TABLES[table].headings
    }


def test_labels_of_the_shipped_catalogue_are_found_in_hungarian(tmp_path: Path) -> None:
    catalogue = shipped_catalogue()
    names = list(catalogue.components)[:20]
    rows = "".join(
        f"A1,2024-05-01,{catalogue.label('component', name, 'hu')},x\n" for name in names
    )
    path = tmp_path / "h.csv"
    path.write_text("mozdony,dátum,alkatrész,hiba\n" + rows, encoding="utf-8")
    lines = propose_mapping(path, catalogue).values["component"]
    assert {line.theirs: line.ours for line in lines} == {
        catalogue.label("component", name, "hu"): name for name in names
    }


def test_proposal_is_always_a_mapping_file_that_can_be_read(tmp_path: Path) -> None:
    text = 'loco,date,part,"de ""fe"" ct\nnew"\nA1,2024-05-01,"ba\\t ""x""\ny",=1+1#\n'
    written = proposal_text(propose(tmp_path, text))
    assert parse_mapping(written, "m.toml").tables[0].table == "findings"


def test_file_that_is_no_table_of_ours_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="nothing in it looks like one of the tables"):
        propose(tmp_path, "weather,wind\nfine,strong\n")
