"""The metro file (City of Toronto open data) comes in as it is, by a mapping file alone.

Oracle: README.md beside this file, computed with pandas and statsmodels apart from this project.
"""

from __future__ import annotations

import pytest

from analytics.answers.recurrence import recurrence
from analytics.handin import ingest
from analytics.intake.mapping import load_mapping
from analytics.intake.propose import SURE_ENOUGH, proposal_text, propose_mapping
from analytics.scope import Scope
from analytics.store import Store
from tests.metro.convert import CATALOGUE, EVENTS, HERE

MAPPING = HERE / "mapping.toml"
PUBLISHED = {
    "DOOR PROBLEMS - FAULTY EQUIPMENT": (3471, 531, 0.1531),
    "SPEED CONTROL EQUIPMENT": (3285, 1529, 0.4662),
}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    catalogue = {CATALOGUE.name: CATALOGUE.read_text(encoding="utf-8")}
    store = Store.create(tmp_path_factory.mktemp("mapped") / "store", catalogue)
    report = ingest(store, EVENTS, mapping=MAPPING)
    found, register = report.files
    assert (register.table, register.rows, register.accepted) == ("locomotives", 665, 665)
    # the two rows without a component are set aside, nothing else
    assert (found.table, found.rows, found.accepted, found.set_aside) == (
        "findings",
        16292,
        16290,
        2,
    )
    return store


@pytest.mark.parametrize("component", PUBLISHED)
def test_recurrence_is_what_others_computed(store: Store, component: str) -> None:
    findings, repeats, rate = PUBLISHED[component]
    with store.read() as reader:
        row = recurrence(reader, Scope.of(component=component), window="30d").table.iloc[0]
    assert (row["findings"], row["repeats"]) == (findings, repeats)
    # the table prints four digits; 1e-4 covers their rounding
    assert row["rate"] == pytest.approx(rate, abs=1e-4)


def test_the_same_file_again_brings_nothing(store: Store) -> None:
    report = ingest(store, EVENTS, mapping=MAPPING)
    assert report.batch is None
    assert all(file.duplicate == file.rows for file in report.files)


def test_what_is_proposed_for_the_file_is_what_the_mapping_says(store: Store) -> None:
    with store.read() as reader:
        proposal = propose_mapping(EVENTS, reader.catalogue)
    assert proposal.table == "findings"
    proposed = {line.ours: line.theirs for line in proposal.columns}
    wanted = load_mapping(MAPPING).tables
    columns = next(section.columns for section in wanted if section.table == "findings")
    assert columns.items() <= proposed.items()
    assert proposed["component"] == "component"
    # the column of codes is offered for the defect, but not as something sure
    (defect,) = [line for line in proposal.columns if line.ours == "defect"]
    assert defect.sure < SURE_ENOUGH
    assert '\n# defect = "code"' in proposal_text(proposal)
