"""The season of a forecast on a railway written by hand. Oracle: plain Python over days."""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import cache
from itertools import product

import numpy as np
import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers.ground import lay_failures, lay_ground
from analytics.answers.known_at import known_at
from analytics.answers.outlook import look_ahead
from analytics.answers.seasons import Season, note_of, read_season
from analytics.scope import Scope
from analytics.store import Reader
from tests.answers.hand import answer, reader_of
from tests.history.world import World

CUT = datetime(2027, 2, 10)


def winters(*, years: int = 3, season: bool = True) -> World:
    """Four locomotives inspected once a week; filters fail in December, January and February.

    On 10th, 14th, 18th and 22nd of the month, one locomotive after another, until 10 February of
    the last year; without a season in every third month.
    """
    world = World(catalogue=World().catalogue.replace("injector = 2", "injector = 2, filter = 2"))
    world.catalogue += "[class.Beech]\npositions = { filter = 1 }\n"
    last = pd.Timestamp(2024 + years, 2, 10)
    for number, name in enumerate(("5A", "6B", "7C", "8D")):
        kind = {"class": "Beech"} if name == "8D" else {}
        world.locomotive(name, **kind)
        for at in pd.date_range("2024-01-01", last, freq="7D").union([last]):
            world.inspections(f"{at:%Y-%m-%d}", locomotive=name)
        months = pd.date_range("2024-01-01", last, freq="MS")
        bad = months.month % 12 <= 2 if season else months.month % 3 == 1
        for month, day in product(months[bad], (10, 14, 18, 22)):
            found = month + timedelta(days=day - 1 + number % 2)
            if found < last:
                world.finding(
                    f"{found:%Y-%m-%d}", "loaded-up", component="filter", locomotive=name,
                    action="cleaned", severity="rectify",
                )  # fmt: skip
    return world


@cache
def seen(*, years: int = 3, season: bool = True) -> Reader:
    return reader_of(winters(years=years, season=season))


def test_filters_fail_in_winter_and_the_horizon_takes_the_mean_of_its_days() -> None:
    reader = seen()
    ground = lay_ground(reader, Scope.of(clock="days"))
    lay_failures(ground)
    season = read_season(ground)
    assert list(season.factors.index) == ["filter"]
    by_month = season.factors.loc["filter"]
    assert by_month[1] > 2.0
    assert by_month[7] < 0.3
    # plain Python: 40 days from 10 February on, the day of the cut among them
    days = [CUT + timedelta(days=number) for number in range(40)]
    mean = sum(by_month[day.month] for day in days) / 40
    frame = look_ahead(reader, Scope.of(component="filter"), 40).frame
    assert frame["season"].to_numpy() == pytest.approx(mean)
    # the cut may be at any hour: half a day of each end
    places = pd.DataFrame({"locomotive": ["5A"], "component": ["filter"]})
    noon = Season(season.factors, season.cut + pd.Timedelta(hours=12))
    ends = (by_month[days[0].month] + by_month[(CUT + timedelta(days=40)).month]) / 2
    inner = sum(by_month[day.month] for day in days[1:])
    assert noon.ahead(places, np.array([40.0])) == pytest.approx((ends + inner) / 40)


def test_all_that_is_expected_has_the_season_in_it() -> None:
    spring, summer = (
        look_ahead(seen(), Scope.of(component="filter", until=until), 28).frame
        for until in ("2027-02-11", "2026-07-01")
    )
    assert spring["season"].iloc[0] > 1 > summer["season"].iloc[0]
    plain = answer(seen(season=False), "next-weeks", component="filter").table
    assert plain["expected"].gt(0).all()
    for name in ("usual", "usual_new", "even", "of_like"):
        rate = spring[name] / spring["season"], summer[name] / summer["season"]
        assert rate[0].to_numpy() == pytest.approx(rate[1].to_numpy(), rel=0.35)
        assert (spring[name] > 3 * summer[name]).all()


def test_a_filter_changes_no_season() -> None:
    reader = seen()
    whole = look_ahead(reader, Scope(), 28).frame
    one = look_ahead(reader, Scope.of(locomotive="8D", component="filter"), 28).frame
    assert one["season"].tolist() == whole["season"][whole["locomotive"] == "8D"].tolist()


def test_what_is_found_after_the_cut_changes_no_season() -> None:
    cut = datetime(2026, 2, 10, 23, 59, 59)
    told = []
    for years in (3, 2):
        with known_at(seen(years=years), cut) as past:
            ground = lay_ground(past, Scope.of(clock="days"))
            told.append(read_season(ground).factors)
    # the record of the second ends there
    assert len(told[0]) == 1
    pd.testing.assert_frame_equal(*told)


def test_notes_say_what_is_counted() -> None:
    notes = {note.key: note for note in answer(seen(), "next-weeks").notes}
    assert "filter 2.2 times" in say(notes["season.counted"])
    for reader in (seen(years=1), seen(season=False)):
        found = answer(reader, "next-weeks", component="filter")
        assert "season.none" in [note.key for note in found.notes]
    near = pd.DataFrame({"component": ["a", "b"], "season": [1.02, 0.99]})
    assert note_of(near).key == "season.usual"
    many = pd.DataFrame({"component": list("abcde"), "season": [1.2, 0.5, 1.0, 1.9, 1.4]})
    assert say(note_of(many)).endswith("b 0.5 times, d 1.9 times, e 1.4 times, and 1 more.")
