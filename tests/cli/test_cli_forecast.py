"""How the forecasts read on a narrow screen. Oracle: the answers' own columns."""

from __future__ import annotations

from analytics.cli.columns import chosen_columns
from tests.answers.hand import answer, day, reader_of, three_failures


def test_positions_show_the_unit_of_each_row_and_no_heading_claims_one() -> None:
    world = three_failures()
    world.catalogue = world.catalogue.replace("injector = 2", "injector = 2, filter = 1")
    for number in (8, 18, 28, 38, 48):
        world.finding(
            day(number), "loaded-up", component="filter", action="cleaned", severity="rectify"
        )
    found = answer(reader_of(world), "next-weeks", positions=True)
    columns, _ = chosen_columns(found, found.table, wide=False)
    shown = {column.heading: column.cells for column in columns}
    assert shown["unit"] == tuple(found.table["clock"])
    assert set(shown["unit"]) == {"hours", "days"}
    assert not any("days" in heading or "(h" in heading for heading in shown)
    assert "chance\nby then" in shown


def test_look_closer_says_until_when_a_chance_is() -> None:
    world = three_failures()
    for number in (70, 80, 97):
        world.finding(day(number), severity="in-service", action="replaced")
    found = answer(reader_of(world), "look-closer", locomotive="5A")
    table = found.table.assign(chance=0.1)
    columns, _ = chosen_columns(found, table, wide=False)
    assert "chance to next\ninspection" in [column.heading for column in columns]
