"""Worked examples, by hand, of METHODS 0 and 5: what is one episode, when it closes, what repeats.

Oracle: closed form by hand, written beside each table of rows.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from tests.history.world import World


def episodes(world: World) -> list[tuple[Any, ...]]:
    """Return (position, defect, found, closed, effect, findings) in order of finding."""
    made = world.table("episode").sort_values(["found_at", "defect", "position"])
    return [
        (
            None if pd.isna(row.position) else int(row.position),
            row.defect,
            f"{row.found_at:%m-%d}",
            None if pd.isna(row.closed_at) else f"{row.closed_at:%m-%d}",
            row.effect,
            row.findings,
        )
        for row in made.itertuples()
    ]


def hour(instant: pd.Timestamp) -> str | None:
    return None if pd.isna(instant) else f"{instant:%m-%d %H}"


def links(world: World) -> list[tuple[Any, ...]]:
    """Return (found, previous closing any defect, same defect, open at found)."""
    made = world.table("episode").sort_values(["found_at", "defect"])
    return [
        (hour(r.found_at), hour(r.prev_any_at), hour(r.prev_same_at), r.open_at_found)
        for r in made.itertuples()
    ]


def winter() -> World:
    return World().locomotive().daily("2024-01-01", "2024-03-31")


def test_finding_before_an_earlier_ones_closing_is_the_same_episode() -> None:
    # found 10 Jan, closed 20 Jan; found again 15 Jan (closed 16 Jan) and 20 Jan: still that episode
    world = winter()
    world.finding("2024-01-10", action="cleaned", closed_at="2024-01-20", down_hours=48)
    world.finding("2024-01-15", action="looked-at", closed_at="2024-01-16", down_hours=24)
    world.finding("2024-01-20", action="replaced", closed_at="2024-01-22", down_hours=12)
    world.finding("2024-01-23", action="cleaned")
    assert episodes(world) == [
        (1, "leaking", "01-10", "01-22", "renew", 3),
        (1, "leaking", "01-23", "01-23", "restore", 1),
    ]


def test_same_day_findings_of_two_positions_and_two_defects_are_apart() -> None:
    world = winter()
    world.finding("2024-01-10", action="cleaned")
    world.finding("2024-01-10", action="cleaned")  # typed twice: one episode, two findings
    world.finding("2024-01-10", action="cleaned", position="2")
    world.finding("2024-01-10", "worn", action="cleaned")
    assert episodes(world) == [
        (1, "leaking", "01-10", "01-10", "restore", 2),
        (2, "leaking", "01-10", "01-10", "restore", 1),
        (1, "worn", "01-10", "01-10", "restore", 1),
    ]


def test_deferred_finding_stays_open_until_the_next_effective_action() -> None:
    # put off on 5 and 8 Jan, cleaned on 20 Jan: one episode from the 5th to the 20th
    world = winter()
    world.finding("2024-01-05", action="put-off")
    world.finding("2024-01-08", action="put-off", closed_at="2024-01-08")  # a deferral never closes
    world.finding("2024-01-20", action="cleaned")
    world.finding("2024-02-10", "worn", action="put-off")  # nothing follows: still open
    assert episodes(world) == [
        (1, "leaking", "01-05", "01-20", "restore", 3),
        (1, "worn", "02-10", None, None, 1),
    ]


def test_blank_action_stays_open_until_planned_renewal_unless_closed_at_is_given() -> None:
    world = winter()
    world.finding("2024-01-05")
    world.work("2024-01-25")
    world.finding("2024-02-05", closed_at="2024-02-07")  # closed; how was not written
    assert episodes(world) == [
        (1, "leaking", "01-05", "01-25", "renew", 1),
        (1, "leaking", "02-05", "02-07", "checked", 1),
    ]
    made = world.table("episode").sort_values("found_at")
    assert made["closed_by"].tolist() == ["work", "finding"]


def test_checked_closes_and_opens_the_recurrence_window() -> None:
    world = winter()
    world.finding("2024-01-05 08:00", action="looked-at")
    world.finding("2024-01-09 08:00", action="cleaned")
    assert links(world) == [
        ("01-05 08", None, None, False),
        ("01-09 08", "01-05 08", "01-05 08", False),
    ]


def test_other_defect_while_open_is_a_separate_failure_never_a_repeat() -> None:
    # leaking is open from 5 to 15 Jan; worn on the 10th is found while it is open; leaking comes
    # back on 1 Feb: the position's latest closing is that of leaking, the 15th
    world = winter()
    world.finding("2024-01-05", action="cleaned", closed_at="2024-01-15")
    world.finding("2024-01-10", "worn", action="cleaned", closed_at="2024-01-12")
    world.finding("2024-02-01", action="cleaned")
    assert links(world) == [
        ("01-05 00", None, None, False),
        ("01-10 00", None, None, True),
        ("02-01 00", "01-15 00", "01-15 00", False),
    ]


def test_at_one_instant_findings_come_before_closings() -> None:
    # leaking closes on 10 Jan 12:00 at which instant worn is found: found while open
    world = winter()
    world.finding("2024-01-05 12:00", action="cleaned", closed_at="2024-01-10 12:00")
    world.finding("2024-01-10 12:00", "worn", action="cleaned")
    world.finding("2024-01-10 12:01", action="cleaned")
    assert links(world) == [
        ("01-05 12", None, None, False),
        ("01-10 12", None, None, True),
        ("01-10 12", "01-10 12", "01-10 12", False),
    ]


def test_position_not_stated_is_one_place_per_locomotive_and_component() -> None:
    world = winter()
    world.finding("2024-01-05", position=None, action="cleaned", closed_at="2024-01-06")
    world.finding("2024-01-06", position=None, action="cleaned")
    world.finding("2024-01-05", position="2", action="cleaned")
    world.finding(
        "2024-01-07", component="filter", position=None, defect="loaded-up", action="cleaned"
    )
    assert episodes(world) == [
        (2, "leaking", "01-05", "01-05", "restore", 1),
        (None, "leaking", "01-05", "01-06", "restore", 2),
        (1, "loaded-up", "01-07", "01-07", "restore", 1),  # the class has one: 1 is meant
    ]


def test_position_lists_ranges_and_all_become_one_finding_each() -> None:
    for written in ("all", "1-2", "1; 2", "1-2; 2"):
        world = winter().finding("2024-01-05", position=written, action="cleaned")
        assert [row[0] for row in episodes(world)] == [1, 2], written


def test_down_hours_are_the_union_of_intervals() -> None:
    # 5 Jan 00:00 + 24 h and 5 Jan 12:00 + 24 h overlap by 12 h: 36 h
    world = winter()
    world.finding("2024-01-05 00:00", action="cleaned", closed_at="2024-01-07", down_hours=24)
    world.finding("2024-01-05 12:00", action="cleaned", down_hours=24)
    assert world.table("episode")["down_hours"].tolist() == [36.0]


def test_down_hours_of_which_none_are_written_are_not_known() -> None:
    world = winter()
    world.finding("2024-01-05", action="cleaned")
    world.finding("2024-02-05", action="cleaned", down_hours=0)
    assert world.table("episode")["down_hours"].isna().tolist() == [True, False]


def test_severity_is_the_highest_and_blank_follows_the_action() -> None:
    world = winter()
    world.finding("2024-01-05", severity="remark", action="put-off")
    world.finding("2024-01-06", severity="withhold", action="cleaned")
    world.finding("2024-02-05", action="cleaned")
    world.finding("2024-02-15", action="looked-at")
    made = world.table("episode").sort_values("found_at")
    assert made["rank"].tolist() == [3, 2, 1]
    assert made["first_rank"].tolist() == [1, 2, 1]


def test_rows_outside_the_record_are_no_history() -> None:
    world = World().locomotive(in_service_to="2024-02-01").daily("2024-01-01", "2024-03-01")
    world.finding("2023-12-31", action="cleaned").finding("2024-02-01", action="cleaned")
    world.finding("2024-02-02", "worn", action="cleaned")
    assert [row[2] for row in episodes(world)] == ["02-01"]


def test_order_of_rows_changes_nothing() -> None:
    rows = [
        ("2024-01-05", {"action": "put-off"}),
        ("2024-01-05", {"action": "cleaned", "closed_at": "2024-01-09"}),
        ("2024-01-09", {"action": "looked-at", "position": None}),
        ("2024-01-09", {"action": "replaced"}),
        ("2024-01-20", {"action": None}),
    ]
    made = []
    for order in (rows, rows[::-1], rows[2:] + rows[:2]):
        world = winter()
        for found_at, cells in order:
            world.finding(found_at, **cells)
        made.append((world.table("episode"), world.table("life"), world.table("closing")))
    for other in made[1:]:
        for mine, theirs in zip(made[0], other, strict=True):
            pd.testing.assert_frame_equal(mine, theirs)
