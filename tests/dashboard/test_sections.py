from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Callable

import pandas as pd
import pytest

from analytics.answer import Answer
from analytics.scope import Scope
from dashboard.asked import View
from dashboard.sections.common import cell, command_line, percent
from dashboard.sections.registry import SECTIONS
from dashboard.sections.tables import put_into_words
from dashboard.wording import Wording
from tests.dashboard import made_up

SCOPE = Scope(clock="hours", components=("injector",))
DRAWN = ("mtbf", "mtbf_depot", "month", "survival", "mcf", "recurrence")
pytestmark = pytest.mark.usefixtures("made_up_answers")


def ask(name: str) -> Answer:
    kind = SECTIONS[name]
    function: Callable[..., Answer] = getattr(made_up, kind.question)
    return function(None, SCOPE, **kind.options)


@pytest.mark.parametrize("name", DRAWN)
def test_section_carries_reading_figure_table_and_basis(name: str, wording: Wording) -> None:
    section = SECTIONS[name].draw(ask(name), wording, "")
    assert section.title.endswith("?")
    assert section.reading.endswith(".")
    assert section.figure is not None
    json.dumps(section.figure, allow_nan=False)
    assert section.table is not None
    worded = put_into_words(section.table, wording)
    assert {len(row) for row in worded.rows} == {len(worded.heads)}
    assert len(worded.kinds) == len(worded.columns) == len(worded.heads)
    assert section.basis is not None
    basis = " ".join(section.basis.parts)
    for needed in (
        "engine hours",
        "rectified",
        "48",
        "90\u00a0%",
        "2026-05-31",
        "store-3/ab12cd34",
    ):
        assert needed in basis


@pytest.mark.parametrize("name", DRAWN)
def test_section_of_an_empty_answer_is_a_sentence(name: str, wording: Wording) -> None:
    kind = SECTIONS[name]
    answer = made_up.empty(getattr(made_up, kind.question), SCOPE, **kind.options)
    section = kind.draw(answer, wording, "")
    assert section.figure is None
    assert section.table is None
    assert section.reading


def test_basis_counts_what_was_left_out_by_reason(wording: Wording) -> None:
    section = SECTIONS["mtbf"].draw(ask("mtbf"), wording, "")
    assert section.basis is not None
    assert "left out: 37 with unknown start" in section.basis.parts
    assert not any("without a counter" in part for part in section.basis.parts)


def test_monthly_rate_is_per_thousand_hours(wording: Wording) -> None:
    answer = ask("month")
    section = SECTIONS["month"].draw(answer, wording, "")
    assert section.figure is not None
    expected = (answer.table["rate"] * 1_000).tolist()
    assert section.figure["data"][0]["y"] == pytest.approx(expected)
    assert "1\u202f000\u00a0h" in section.figure["layout"]["yaxis"]["title"]["text"]


def test_monthly_reading_compares_two_years_by_hand(wording: Wording) -> None:
    months = pd.DataFrame({"month": pd.date_range("2024-01-01", periods=24, freq="MS")})
    months["exposure"], months["failures"] = 1_000.0, [1] * 12 + [3] * 12
    months["rate"] = months["failures"] / months["exposure"]
    months["rate_lower"] = months["rate_upper"] = months["rate"]
    answer = dataclasses.replace(ask("month"), table=months)
    reading = SECTIONS["month"].draw(answer, wording, "").reading
    assert re.search(r" 3(\.0+)? failures per 1.000.h; over the 12 before: 1(\.0+)?\.$", reading)


@pytest.mark.parametrize(
    ("months", "said"), [(1, "Over the last month on"), (2, "Over the last 2 months on")]
)
def test_reading_of_few_months(wording: Wording, months: int, said: str) -> None:
    answer = ask("month")
    few = dataclasses.replace(answer, table=answer.table.head(months))
    assert SECTIONS["month"].draw(few, wording, "").reading.startswith(said)


def test_survival_without_a_failure_is_a_flat_line_up_to_the_mean_age(wording: Wording) -> None:
    answer = ask("survival")
    table = answer.table[answer.table["class"] == "Alder"].head(1).assign(at_risk=2)
    # By hand: two lives watched for 500 h together, so one of them for 250 h or more.
    basis = dataclasses.replace(answer.basis, events=0, censored=2, exposure=500.0)
    unfailed = dataclasses.replace(answer, table=table, basis=basis)
    section = SECTIONS["survival"].draw(unfailed, wording, "")
    assert section.figure is not None
    line = next(trace for trace in section.figure["data"] if trace.get("name") == "Alder")
    assert (line["mode"], line["x"], line["y"]) == ("lines", [0, 250], [1, 1])
    assert section.notes[0].startswith("No failure yet")


def test_cumulative_curve_begins_where_a_locomotive_is_watched(wording: Wording) -> None:
    table = pd.DataFrame(
        {
            "class": "Alder",
            "age": [0.0, 23_000.0, 24_000.0],
            "mcf": [0.0, 1.0, 2.0],
            "lower": float("nan"),
            "upper": float("nan"),
            "at_risk": [0, 1, 1],
            "events": [0, 1, 1],
        }
    )
    section = SECTIONS["mcf"].draw(dataclasses.replace(ask("mcf"), table=table), wording, "")
    assert section.figure is not None
    line = next(trace for trace in section.figure["data"] if trace.get("name") == "Alder")
    assert (line["x"], line["y"]) == ([23_000, 24_000], [1, 2])


def test_survival_table_matches_the_figure(wording: Wording) -> None:
    answer = ask("survival")
    section = SECTIONS["survival"].draw(answer, wording, "")
    assert section.figure is not None
    line = next(trace for trace in section.figure["data"] if trace.get("name") == "Alder")
    alder = answer.table[answer.table["class"] == "Alder"]
    # A figure keeps six digits.
    assert line["x"] == pytest.approx(alder["age"].tolist(), rel=1e-5)
    assert line["y"] == pytest.approx(alder["survival"].tolist(), rel=1e-5)


def test_long_table_is_shown_page_by_page_as_sorted(wording: Wording) -> None:
    section = SECTIONS["mcf"].draw(ask("mcf"), wording, "")
    assert section.table is not None
    ages = section.table.frame["age"]
    first = put_into_words(section.table, wording, View("age", descending=True))
    assert (len(first.rows), first.count, first.pages) == (15, 1_400, -(-1_400 // 15))
    place = first.columns.index("age")
    assert first.rows[0][place].text == cell("age", ages.max(), wording)
    last = put_into_words(section.table, wording, View("age", descending=True, page=999))
    assert last.view.page == first.pages
    assert last.rows[-1][place].text == cell("age", ages.min(), wording)


def test_sorting_by_a_column_that_is_not_shown_keeps_the_order_of_the_answer(
    wording: Wording,
) -> None:
    section = SECTIONS["mtbf"].draw(ask("mtbf"), wording, "")
    assert section.table is not None
    plain = put_into_words(section.table, wording)
    assert put_into_words(section.table, wording, View("nonsense", descending=True)) == plain


def test_recurrence_shows_most_used_action_first_by_its_label(wording: Wording) -> None:
    section = SECTIONS["recurrence"].draw(ask("recurrence"), wording, "")
    assert section.figure is not None
    assert section.table is not None
    assert section.figure["data"][0]["name"] == "replaced by a new one"
    row = [shown.text for shown in put_into_words(section.table, wording).rows[0]]
    assert row[0] == "replaced by a new one"
    assert "5.2\u00a0%" in row


def test_more_curves_than_can_be_told_apart_are_counted_in_a_note(wording: Wording) -> None:
    answer = ask("survival")
    parts = [answer.table.assign(**{"class": f"Class {n}"}) for n in range(11)]
    section = SECTIONS["survival"].draw(
        dataclasses.replace(answer, table=pd.concat(parts)), wording, ""
    )
    assert section.notes[0] == "The first 8 of 11 curves are drawn; all are in the table."


def test_command_line_is_the_same_question() -> None:
    scope = Scope(clock="km", components=("Brake block / left",), level=0.95)
    assert command_line("mtbf", {"by": ("class",)}, scope) == (
        "shedbook mtbf --by class --clock km --component 'Brake block / left' --level 0.95"
    )


@pytest.mark.parametrize(
    ("share", "text"),
    [(0.0, "0\u00a0%"), (0.052, "5.2\u00a0%"), (0.334, "33\u00a0%"), (float("nan"), "\u2013")],
)
def test_percent_is_rounded_for_reading(share: float, text: str) -> None:
    assert percent(share) == text
