"""What a cell may say, and what it may not be taken for."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest

from analytics.planning import forms
from analytics.planning.cells import read_cell

ALL_BUT_SUNDAY = (0, 1, 2, 3, 4, 5)


@pytest.mark.parametrize(
    ("holds", "cell", "read"),
    [
        (forms.NUMBER, "1.5", 1.5),
        (forms.NUMBER, "1,5", 1.5),
        (forms.NUMBER, "12 000", 12000.0),
        (forms.NUMBER, "0,125", 0.125),
        (forms.NUMBER, 1e-05, 1e-05),
        (forms.WHOLE, 8.0, 8),
        (forms.DAY, "2026-07-01", date(2026, 7, 1)),
        (forms.DAY, "2026-07-01 00:00:00", date(2026, 7, 1)),
        (forms.DAY, date(2026, 7, 1), date(2026, 7, 1)),
        (forms.DAY, datetime(2026, 7, 1, 6, 30), date(2026, 7, 1)),
        (forms.NAME, 1.0, "1"),
        (forms.NAME, " pit 1 ", "pit 1"),
        (forms.NAMES, "a; b, c", ("a", "b", "c")),
        (forms.NAMES, ["a", "a", "b"], ("a", "b")),
        (forms.AMOUNTS, "fitter 8; electrician 4", {"fitter": 8.0, "electrician": 4.0}),
        (forms.AMOUNTS, "fitter 8, electrician 4", {"fitter": 8.0, "electrician": 4.0}),
        (forms.AMOUNTS, "fitter 1,5, electrician: 4 h", {"fitter": 1.5, "electrician": 4.0}),
        (forms.AMOUNTS, {"fitter": 8}, {"fitter": 8.0}),
        (forms.COUNTS, "injector set 2", {"injector set": 2}),
        (forms.DAYS_OF_WEEK, "Mon-Fri", (0, 1, 2, 3, 4)),
        (forms.DAYS_OF_WEEK, "Mon - Fri", (0, 1, 2, 3, 4)),
        (forms.DAYS_OF_WEEK, "Mon\u2013Sat", ALL_BUT_SUNDAY),
        (forms.DAYS_OF_WEEK, "monday-friday", (0, 1, 2, 3, 4)),
        (forms.DAYS_OF_WEEK, "Sat-Mon", (0, 5, 6)),
        (forms.DAYS_OF_WEEK, ["Mon", "Wed-Thu"], (0, 2, 3)),
        (forms.PER, " Position ", "position"),
    ],
)
def test_cells_read_as_what_was_meant(holds: str, cell: Any, read: Any) -> None:
    assert read_cell(cell, holds) == read


@pytest.mark.parametrize(
    ("holds", "cell", "words"),
    [
        (forms.NUMBER, "1,200", "without a comma"),  # a thousand and two hundred, or 1.2?
        (forms.NUMBER, "1,200,000", "a number"),
        (forms.NUMBER, "1_6", "a number"),
        (forms.NUMBER, "nan", "a number"),
        (forms.NUMBER, float("inf"), "a number"),
        (forms.NUMBER, 1e300, "below a million millions"),
        (forms.NUMBER, True, "a number"),
        (forms.NUMBER, "eight", "a number"),
        (forms.WHOLE, 1.5, "a whole number"),
        (forms.WHOLE, "eight", "a whole number"),
        (forms.WHOLE, 1e300, "a whole number below"),
        (forms.DAY, "2026-07-01 to 2026-07-05", "a date such as"),
        (forms.DAY, "1.7.2026", "a date such as"),
        (forms.DAY, "03/07/2026", "a date such as"),
        (forms.DAY, 46204.0, "a date such as"),  # a spreadsheet's day number without its format
        (forms.DAY, date(206, 7, 1), "of the years 1990 to 2199"),
        (forms.NAME, True, "a name"),
        (forms.NAME, float("inf"), "a name"),
        (forms.NAME, float("nan"), "a name"),
        (forms.NAME, date(2026, 1, 2), "formatted as text"),  # a spreadsheet's 1-2
        (forms.NAME, {"a": 1}, "a name"),
        (forms.NAMES, [], "names"),
        (forms.AMOUNTS, "fitter", "names with an amount each"),
        (forms.AMOUNTS, "8 fitter", "names with an amount each"),
        (forms.AMOUNTS, 8, "names with an amount each"),
        (forms.AMOUNTS, {"fitter": True}, "names with an amount each"),
        (forms.AMOUNTS, "fitter 1,200", "names with an amount each"),
        (forms.AMOUNTS, "fitter -2", "none below 0"),
        (forms.AMOUNTS, "fitter 8; fitter 4", "none twice"),
        (forms.COUNTS, {"seal": 1.5}, "whole numbers of pieces"),
        (forms.DAYS_OF_WEEK, [], "weekdays"),
        (forms.DAYS_OF_WEEK, "Monkey", "weekdays"),
        (forms.DAYS_OF_WEEK, "Mo", "weekdays"),
        (forms.PER, "set", "locomotive or position"),
    ],
)
def test_cells_that_could_be_misread_are_refused(holds: str, cell: Any, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        read_cell(cell, holds)
