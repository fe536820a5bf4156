"""The clocks in whole ticks, so that sums and differences of counters stay exact.

A tick is a tenth of an engine hour, a kilometre, or a microsecond; figures leave this folder in h,
km and days.
"""

from __future__ import annotations

from typing import Any

from analytics.answer import Message

TICKS = {"hours": 10.0, "km": 1.0, "days": 86_400e6}
"""Ticks in one h, one km, one day."""

SMALLEST_CHANCE = 0.001
"""Below it a chance is not told any closer."""


def tick(clock: str, instant: str) -> str:
    """Return the SQL of a clock at an instant of a history table.

    Parameters
    ----------
    clock
        `hours`, `km` or `days`.
    instant
        The column's name without its ending, with its table: `e.found` for `e.found_at`,
        `e.found_hours`, `e.found_km`.
    """
    return f"epoch_us({instant}_at)" if clock == "days" else f"{instant}_{clock}"


def on_clock(key: str, clock: str, **values: Any) -> Message:
    """Return the message whose sentence names the unit of the clock: `KEY_hours` and so on."""
    return Message(f"{key}_{clock}", **values)


def chance(p: float) -> str:
    """Show the chance of a test with its sign: `= 0.012`, `< 0.001`."""
    return f"= {p:.2g}" if p >= SMALLEST_CHANCE else f"< {SMALLEST_CHANCE}"


def whole(value: float) -> int | float:
    """Return a number without decimals as an int, so that it is read as `30` and not `30.0`."""
    near = round(value, 9)
    return int(near) if near == int(near) else near
