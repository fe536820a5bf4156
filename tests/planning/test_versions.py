"""Versions of the plan: kept whole, compared, undone; shown part by part and written as files."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from icalendar import Calendar
from python_calamine import CalamineWorkbook

from analytics.catalogue.load import shipped_files
from analytics.errors import PlanError, ScopeError
from analytics.exports.plan_file import plan_bytes, write_plan
from analytics.planning.saved import PARTS
from analytics.planning.saved import plan as ask_plan
from analytics.planning.tables import COLUMNS
from analytics.planning.versions import Versions
from analytics.scope import Scope
from analytics.store import Store
from tests.planning.hand_made import INPUTS, VISITS, job, plan, visit


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "store", shipped_files())


@pytest.fixture
def versions(store: Store) -> Versions:
    return Versions(store.root)


def test_version_comes_back_as_it_was(versions: Versions) -> None:
    kept = plan(pins=(("A-01", date(2026, 6, 1)),), fleet={"Alder": 3})
    number = versions.add(kept, INPUTS, who="planner őű")
    found = versions.get(number)
    assert (found.plan, found.inputs, found.who) == (kept, INPUTS, "planner őű")
    assert (found.parent, found.again) == (None, None)
    assert versions.latest() == number


def test_undo_brings_the_one_before_back_and_keeps_all(versions: Versions) -> None:
    first = versions.add(plan(), INPUTS, who="a")
    versions.add(plan(VISITS[:2]), INPUTS, who="b", parent=first)
    back = versions.undo(who="c")
    assert versions.get(back).plan == plan()
    assert versions.get(back).again == first
    assert len(versions.all()) == 3
    with pytest.raises(PlanError, match="nothing to undo"):
        versions.undo(who="c")


def test_version_that_is_not_there_says_which_are(versions: Versions) -> None:
    with pytest.raises(PlanError, match="no plan was made yet"):
        versions.get(1)
    versions.add(plan(), INPUTS, who="a")
    with pytest.raises(PlanError, match="there are 1 to 1"):
        versions.get(7)


@pytest.mark.parametrize("part", PARTS)
def test_every_part_has_its_columns_with_and_without_a_plan(
    store: Store, versions: Versions, part: str
) -> None:
    with store.read() as reader:
        empty = ask_plan(reader, Scope(), part=part)
    assert empty.table.empty
    assert tuple(empty.table.columns) == COLUMNS[part]
    versions.add(plan(), INPUTS, who="a")
    with store.read() as reader:
        found = ask_plan(reader, Scope(), part=part)
    assert tuple(found.table.columns) == COLUMNS[part]


def test_limits_add_up_by_hand(store: Store, versions: Versions) -> None:
    versions.add(plan(fleet={"Alder": 3, "Rowan": 1}), INPUTS, who="a")
    with store.read() as reader:
        table = ask_plan(reader, Scope(), part="limits").table
    week = table[table["week"] == "2026-06-01"].set_index(["limit", "name"])
    # berth 1: A-01 on the 1st, A-02 on the 5th; berth 2: two days of A-03, open Monday to Saturday
    assert week.loc[("berth", "1"), ["used", "available"]].tolist() == [2, 5]
    assert week.loc[("berth", "2"), ["used", "available"]].tolist() == [2, 6]
    assert week.loc[("labour", "fitter"), "used"] == 8 + 5
    assert week.loc[("spare", "set"), ["used", "available"]].tolist() == [1, 1]
    assert week.loc[("traffic", "Alder"), ["used", "available", "fullest"]].tolist() == [1, 1, 1.0]


def test_compared_visits_are_told_by_what_changed(store: Store, versions: Versions) -> None:
    before = versions.add(plan(), INPUTS, who="a")
    moved = replace(VISITS[0], first=date(2026, 6, 2), last=date(2026, 6, 2))
    other = replace(VISITS[3], jobs=(job("bearing", positions=(1,)),))
    new = visit("A-01", "2", 11, 11, job("bearing", positions=(2,)))
    versions.add(plan((moved, VISITS[2], other, new)), INPUTS, who="b", parent=before)
    with store.read() as reader:
        table = ask_plan(reader, Scope(), part="compare").table
    found = list(zip(table["locomotive"], table["change"], strict=True))
    assert found == [("A-01", "moved"), ("A-01", "added"), ("A-03", "dropped"), ("R-01", "jobs")]


def test_part_that_does_not_exist_is_refused(store: Store) -> None:
    with store.read() as reader, pytest.raises(ScopeError, match="part of a plan"):
        ask_plan(reader, Scope(), part="visit")


def test_calendar_reads_back_with_its_days_and_texts(versions: Versions, tmp_path: Path) -> None:
    # RFC 5545, 3.6.1: DTEND of an all-day event is exclusive; 3.1: lines fold at 75 octets.
    long = replace(VISITS[0], reason="worn; oldest, at 12 000 h\\ő " * 6)
    version = versions.get(versions.add(plan((long, *VISITS[1:])), INPUTS, who="a"))
    write_plan(version, tmp_path / "plan.ics", "ics")
    content = (tmp_path / "plan.ics").read_bytes()
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    events = Calendar.from_ical(content).walk("VEVENT")
    assert len(events) == len(VISITS)
    assert events[2].decoded("dtstart") == date(2026, 6, 5)
    assert events[2].decoded("dtend") == date(2026, 6, 9)
    assert str(events[0]["description"]) == long.reason
    assert len({str(event["uid"]) for event in events}) == len(VISITS)
    assert plan_bytes(version, "ics") == content


def test_workbook_has_a_sheet_for_each_part_and_no_formula(
    versions: Versions, tmp_path: Path
) -> None:
    sly = replace(VISITS[0], reason="=1+1")
    version = versions.get(versions.add(plan((sly, *VISITS[1:])), INPUTS, who="a"))
    write_plan(version, tmp_path / "plan.xlsx", "xlsx")
    with CalamineWorkbook.from_path(str(tmp_path / "plan.xlsx")) as book:
        assert {"visits", "jobs", "left-out", "limits", "days"} <= set(book.sheet_names)
        rows = book.get_sheet_by_name("visits").to_python()
    assert rows[0] == list(COLUMNS["visits"])
    assert len(rows) == 1 + len(VISITS)
    assert rows[1][-1] == "'=1+1"


def test_paper_holds_every_visit_and_its_accents(versions: Versions) -> None:
    from pypdf import PdfReader

    accents = replace(VISITS[0], reason="főjavítás <b>űr</b>")
    version = versions.get(versions.add(plan((accents, *VISITS[1:])), INPUTS, who="a"))
    paper = PdfReader(io.BytesIO(plan_bytes(version, "pdf")))
    text = "\n".join(page.extract_text() for page in paper.pages)
    assert "főjavítás <b>űr</b>" in text
    assert all(name in text for name in ("A-01", "A-02", "A-03", "R-01", "R-02"))
    assert "releases no locomotive" in text
    assert paper.pages[0].mediabox.width > paper.pages[0].mediabox.height
    assert "/StructTreeRoot" in paper.trailer["/Root"]  # tagged, PDF/UA


def test_file_that_cannot_be_written_gets_a_sentence(versions: Versions, tmp_path: Path) -> None:
    version = versions.get(versions.add(plan(), INPUTS, who="a"))
    with pytest.raises(PlanError, match="cannot be written"):
        write_plan(version, tmp_path / "no" / "plan.xlsx", "xlsx")
