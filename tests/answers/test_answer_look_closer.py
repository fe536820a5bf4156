"""The lines of look-closer on railways written by hand, one for each kind of line."""

from __future__ import annotations

from collections.abc import Hashable
from datetime import date, timedelta
from typing import Any

import pandas as pd
import pytest

from analytics.answer import say
from analytics.answers.look_closer import COLUMNS
from analytics.answers.look_lines import MOST_LINES, reason_of
from analytics.errors import ScopeError
from tests.answers.hand import answer, day, railway, reader_of
from tests.history.world import World

CATALOGUE = """
first_life_grace = 31
[class.Alder]
positions = { brush = 4, hose = 2, feed-filter = 1, relay = 1 }
[component.brush]
system = "machines"
clock = "days"
defects = ["worn", "chipped"]
in_service = true
[component.hose]
system = "cooling"
clock = "days"
defects = ["leaking"]
in_service = true
[component.relay]
system = "cubicle"
clock = "days"
defects = ["tripped"]
[component.feed-filter]
system = "fuel"
clock = "days"
defects = ["loaded-up"]
[action.replaced]
effect = "renew"
[action.cleaned]
effect = "restore"
[action.looked-at]
effect = "checked"
[action.put-off]
effect = "defer"
[parameter.feed-pressure]
unit = "bar"
component = "feed-filter"
reset_by = ["cleaned"]
attend = { idle = { above = 0.98 } }
"""
START = date(2022, 1, 1)
CUT = date(2024, 12, 31)


def on(days: int, hour: int = 8) -> str:
    return f"{START + timedelta(days=days)}T{hour:02d}:00"


def world() -> World:
    """Four locomotives over three years, seen every 5 days; brushes fail 80 to 260 days old."""
    made = World(catalogue=CATALOGUE)
    length = (CUT - START).days
    for index, name in enumerate(("1A", "2B", "3C", "4D")):
        made.locomotive(name, begins=str(START))
        for number in range(0, length + 1, 5):
            made.inspections(on(number, 6), locomotive=name)
        for place in (1, 2, 3, 4):
            first = 190 + 7 * place + 3 * index
            until = length - (350 if (name, place) == ("1A", 2) else 60)
            number, turn = first, 3 * index + place
            while number < until:
                made.finding(
                    on(number), "worn", locomotive=name, component="brush", position=str(place),
                    action="replaced", severity="rectify", closed_at=on(number, 12),
                )  # fmt: skip
                number, turn = number + 80 + 20 * (turn * 7 % 10), turn + 1
    return made


def lines(made: World, name: str = "1A") -> pd.DataFrame:
    found = answer(reader_of(made), "look-closer", locomotive=name)
    assert tuple(found.table.columns) == COLUMNS
    assert len(found.table) <= MOST_LINES
    assert found.table["rank"].tolist() == list(range(1, len(found.table) + 1))
    assert any("never replaces" in say(note) for note in found.notes)
    told = any("until the next inspection" in say(note) for note in found.notes)
    assert told == found.table["chance"].notna().any()
    return found.table


def test_an_open_episode_comes_first_with_its_age() -> None:
    made = world().finding(
        on(1085), "leaking", locomotive="1A", component="hose", position="2", severity="withhold",
        action="put-off",
    )  # fmt: skip
    first = lines(made).iloc[0]
    assert (first["component"], first["position"], first["kind"]) == ("hose", 2, "open")
    assert "put off" in first["reason"]
    assert "10 days" in first["reason"]


def test_the_oldest_brush_is_the_likeliest() -> None:
    # brush 2 of 1A was not renewed for over a year, the others within some 200 days
    table = lines(world())
    likely = table[table["kind"] == "likely"]
    assert (likely.iloc[0]["component"], likely.iloc[0]["position"]) == ("brush", 2)
    assert "old since its last renewal" in likely.iloc[0]["reason"]
    assert likely.iloc[0]["last_action"] == "replaced"
    assert likely["chance"].is_monotonic_decreasing


def test_what_was_closed_of_late_and_tends_to_come_back_is_named() -> None:
    made = world()
    # relays that were only looked at came back two days later, on every locomotive but the last
    for name in ("2B", "3C", "4D"):
        for number in range(100, 1000, 90):
            for later in (0, 2):
                made.finding(
                    on(number + later), "tripped", locomotive=name, component="relay",
                    position="1", action="looked-at", severity="rectify",
                    closed_at=on(number + later, 10),
                )  # fmt: skip
    made.finding(
        on(1094), "tripped", locomotive="1A", component="relay", position="1",
        action="looked-at", severity="rectify", closed_at=on(1094, 10),
    )  # fmt: skip
    table = lines(made)
    row = table[table["component"] == "relay"].iloc[0]
    assert row["kind"] == "after-closing"
    assert "does it hold" in row["reason"]
    assert row["last_action"] == "looked-at"
    # half of the closings came back, two days after: the chance is far above that of a brush
    assert row["chance"] > 0.2


def tripped(made: World, *days: int, name: str = "1A", severity: str = "rectify") -> World:
    for number in days:
        made.finding(
            on(number), "tripped", locomotive=name, component="relay", position="1",
            action="looked-at", severity=severity, closed_at=on(number, 10),
        )  # fmt: skip
    return made


@pytest.mark.parametrize(
    ("days", "severity", "said"),
    [((1086, 1091), "rectify", "came back"), ((1091,), "in-service", "in-service failure")],
)
def test_what_failed_again_within_a_week_comes_before_what_is_likely(
    days: tuple[int, ...], severity: str, said: str
) -> None:
    found = answer(
        reader_of(tripped(world(), *days, severity=severity)), "look-closer", locomotive="1A"
    )
    row = found.table[found.table["component"] == "relay"].iloc[0]
    assert row["kind"] == "after-closing"
    assert said in row["reason"]
    assert row["rank"] < found.table[found.table["kind"] == "likely"]["rank"].min()
    # one or two closings of its kind were followed: no percentage
    assert pd.isna(row["chance"])
    assert ": 1 closed lately, " in say(found.reading)


def test_five_followed_closings_have_a_percentage() -> None:
    table = lines(tripped(world(), 200, 400, 600, 800, 1086, 1091))
    assert table[table["component"] == "relay"]["chance"].iloc[0] > 0


def test_only_what_is_older_than_half_of_its_kind_is_called_old() -> None:
    made = world()
    # 2B fails far more often than the others, at relays; its brushes have all ages
    tripped(made, *range(100, 1060, 25), name="2B")
    reader = reader_of(made)
    ages = answer(reader, "ages", component="brush").table
    age = ages.set_index(["locomotive", "position"])["age"]
    seen = []
    for name in ("1A", "2B"):
        table = answer(reader, "look-closer", locomotive=name).table
        table = table[(table["kind"] == "likely") & (table["component"] == "brush")]
        for place, reason in zip(table["position"], table["reason"], strict=True):
            old = "old since its last renewal" in reason
            assert not old or age[name, place] > age.median(), (name, place, reason)
            seen.append(old)
    assert any(seen)


@pytest.mark.parametrize(
    ("usual", "older", "ratio", "even", "said"),
    [
        (0.03, True, 1.1, 0.01, "old since"),
        (0.03, False, 1.1, 0.01, "on others of its kind."),  # young where its kind fails early
        (0.01, False, 2.0, 0.01, "this locomotive fails about 2.0 times as often as its class."),
        (0.02, False, 1.0, 0.02, "it runs more."),
    ],
)
def test_the_greatest_factor_is_the_reason(
    usual: float, older: bool, ratio: float, even: float, said: str
) -> None:
    row: dict[Hashable, Any] = {
        "lately": False, "after": False, "usual": usual, "older": older, "ratio": ratio,
        "even": even, "of_like": 0.01, "times": usual * ratio / 0.01,
    }  # fmt: skip
    assert said in say(reason_of(row))


def test_a_reading_that_heads_for_its_limit_is_named() -> None:
    made = world()
    for number in range(30):
        made.add(
            "readings", locomotive="1A", parameter="feed-pressure", running_state="idle",
            read_at=on(1060 + number), value=0.60 + 0.01 * number + 0.002 * (number % 2),
            value_in_unit=0.60 + 0.01 * number + 0.002 * (number % 2), unit="bar",
        )  # fmt: skip
    table = lines(made)
    row = table[table["kind"] == "reading"].iloc[0]
    assert row["component"] == "feed-filter"
    assert row["position"] == 1  # the only one of its kind
    assert "heads for its limit" in row["reason"]


def test_what_comes_every_winter_is_named_as_the_season() -> None:
    made = world()
    for name in ("1A", "2B", "3C", "4D"):
        for year in (0, 365, 730):
            for number in (5, 15, 340, 350):
                if year + number < 1000:
                    made.finding(
                        on(year + number), "leaking", locomotive=name, component="hose",
                        position="1", action="cleaned", severity="rectify",
                        closed_at=on(year + number, 10),
                    )  # fmt: skip
    table = lines(made)
    row = table[table["kind"] == "season"].iloc[0]
    assert row["component"] == "hose"
    assert "earlier years" in row["reason"]
    # and nothing of the season where every month is alike
    assert "season" not in lines(world())["kind"].tolist()


def test_a_quiet_locomotive_has_fewer_lines_and_a_sentence_why() -> None:
    made = World(catalogue=CATALOGUE).locomotive("1A", begins=str(START))
    made.daily("2022-01-01", "2022-03-01", locomotive="1A")
    found = answer(reader_of(made), "look-closer", locomotive="1A")
    assert found.table.empty
    assert found.reading.key == "closer.nothing"


def test_many_open_ones_leave_room_and_are_counted() -> None:
    made = world()
    for place in (1, 2, 3, 4):
        for defect in ("worn", "chipped"):
            made.finding(
                on(1090), defect, locomotive="1A", component="brush", position=str(place),
                severity="rectify", action="put-off",
            )  # fmt: skip
    found = answer(reader_of(made), "look-closer", locomotive="1A")
    assert (found.table["kind"] == "open").sum() == 5
    assert any(note.key == "closer.more_open" and note.values["more"] == 3 for note in found.notes)


@pytest.mark.parametrize("names", [(), ("1A", "2B")])
def test_one_locomotive_must_be_named(names: tuple[str, ...]) -> None:
    with pytest.raises(ScopeError, match=r"--locomotive \(on record: 1A, 2B"):
        answer(reader_of(world()), "look-closer", locomotives=names)
    with pytest.raises(ScopeError, match="none on record yet"):
        answer(reader_of(World(catalogue=CATALOGUE)), "look-closer")


def test_begin_of_the_period_hides_nothing_that_is_open() -> None:
    reader = reader_of(railway().finding(day(20), severity="rectify"))
    kinds = [
        answer(reader, "look-closer", locomotive="5A", since=since).table["kind"].tolist()
        for since in (None, day(90), "2099-01-01")
    ]
    assert "open" in kinds[0]
    assert kinds[1] == kinds[2] == kinds[0]
