"""The plan on paper over several pages: read back by a second library, pypdf."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from pypdf import PdfReader

from analytics.errors import PlanError
from analytics.exports import plan_pdf
from analytics.planning.plan import Plan
from analytics.planning.versions import Version
from tests.planning.hand_made import INPUTS, MONDAY, VISITS, plan

WEEKS, VISITS_MADE = 26, 120


def version_of(one: Plan) -> Version:
    return Version(7, datetime(2026, 5, 31, 18, 0), "Pál Őrsi", None, None, one, INPUTS)


@pytest.fixture(scope="module")
def pages() -> list[str]:
    """Half a year of visits, each with a reason of several lines."""
    visits = tuple(
        replace(
            VISITS[0],
            locomotive=f"Ő-{number:03}",
            berth="1" if number % 2 else "2",
            first=MONDAY + timedelta(days=number),
            last=MONDAY + timedelta(days=number),
            reason=f"reason {number} " + "of several words " * 12,
        )
        for number in range(VISITS_MADE)
    )
    asked = {
        "days": 7 * WEEKS,
        "pins": (("Ő-003", MONDAY),),
        "forbidden": (("", date(2026, 6, 9)), ("A-01", date(2026, 6, 10))),
    }
    made = plan_pdf.pdf_of(version_of(replace(plan(visits), **asked)))
    return [page.extract_text() for page in PdfReader(io.BytesIO(made)).pages]


def test_every_page_says_which_of_how_many_it_is(pages: list[str]) -> None:
    assert len(pages) > 5
    for number, text in enumerate(pages, 1):
        assert f"{number} / {len(pages)}" in text
        assert "Berth plan, version 7, from 2026-06-01" in text


def test_every_day_and_visit_is_there_and_no_text_is_lost(pages: list[str]) -> None:
    whole = "\n".join(pages)
    for number in range(VISITS_MADE):
        assert whole.count(f"Ő-{number:03}") >= 2, number  # in its day, and with its reason
        assert f"reason {number} of several words" in whole
    days = [MONDAY + timedelta(days=number) for number in range(7 * WEEKS)]
    assert all(f"{day:%d %b}" in whole for day in days)
    assert "by Pál Őrsi" in whole
    assert "Pinned by hand: Ő-003 2026-06-01." in whole
    assert "Kept free by hand: 2026-06-09, A-01 2026-06-10." in whole


def test_heads_of_a_table_are_repeated_on_each_of_its_pages(pages: list[str]) -> None:
    with_visits = [text for text in pages if "of several words" in text]
    assert len(with_visits) > 3
    for text in with_visits:
        assert "Locomotive" in text
        assert "Why" in text


def test_plan_without_visits_still_has_its_paper() -> None:
    made = plan_pdf.pdf_of(version_of(replace(plan(()), left_out=())))
    (first, *_) = PdfReader(io.BytesIO(made)).pages
    assert "None." in first.extract_text()


def test_missing_library_gets_a_sentence_that_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setitem(sys.modules, "weasyprint", None)  # an import then fails
    with pytest.raises(PlanError, match=r"pip install 'shedbook\[report\]'"):
        plan_pdf.pdf_of(version_of(plan()))
