"""What the invented railway's workshop planner would hand in: the shipped example, at its size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta

from analytics.catalogue.model import Catalogue
from analytics.errors import PlanError
from analytics.planning.inputs import Berth, DueVisit, PlanInputs, Traffic
from analytics.planning.read_inputs import read_inputs_text
from analytics.planning.template import example_text, to_toml

LOCOMOTIVES_A_BERTH = 60
FEWEST_BERTHS = 3
DUE_EVERY = 4
"""Every fourth locomotive has a visit due within the plan."""
_VISIT, _DAYS, _WINDOW, _HOURS = "frame inspection", 2, 14, {"fitter": 16.0}
_SHARE_IN_TRAFFIC = 0.85
_PLENTY = 100  # of each class, so that the example's traffic is not refused before it is replaced


def demo_inputs(
    catalogue: Catalogue, locomotives: Mapping[str, str], first_day: date
) -> PlanInputs | None:
    """Return the inputs of a plan for a fleet; None where the catalogue is not the shipped one.

    Parameters
    ----------
    locomotives
        Class of each locomotive in service.
    first_day
        The day after the record's last.
    """
    any_fleet = {f"{name} {n}": name for name in catalogue.classes for n in range(_PLENTY)}
    try:
        example = read_inputs_text(example_text(), catalogue, any_fleet)
    except PlanError:
        return None
    number = max(FEWEST_BERTHS, round(len(locomotives) / LOCOMOTIVES_A_BERTH))
    kinds = example.berths
    berths = tuple(Berth(str(n + 1), kinds[min(n, len(kinds) - 1)].open) for n in range(number))
    times = number / len(kinds)
    labour = tuple(replace(one, hours=round(one.hours * times)) for one in example.labour)
    spares = tuple(replace(one, on_hand=round(one.on_hand * times)) for one in example.spares)
    sizes = {name: list(locomotives.values()).count(name) for name in set(locomotives.values())}
    traffic = tuple(
        Traffic(rule.class_name, int(_SHARE_IN_TRAFFIC * sizes[rule.class_name]), rule.days)
        for rule in example.traffic
        if rule.class_name in sizes
    )
    days = 7 * example.weeks
    return replace(
        example, berths=berths, labour=labour, spares=spares, traffic=traffic,
        visits=_due(list(locomotives), first_day, days),
    )  # fmt: skip


def demo_toml(catalogue: Catalogue, locomotives: Mapping[str, str], first_day: date) -> str:
    """Return the same as the text of a file; empty where there is none."""
    inputs = demo_inputs(catalogue, locomotives, first_day)
    return "" if inputs is None else to_toml(inputs)


def _due(names: list[str], first_day: date, days: int) -> tuple[DueVisit, ...]:
    """Spread the visits due evenly over the plan."""
    chosen = names[::DUE_EVERY]
    last = days - _WINDOW
    begins = [
        first_day + timedelta(days=n * last // max(len(chosen), 1)) for n in range(len(chosen))
    ]
    return tuple(
        DueVisit(name, _VISIT, begin, begin + timedelta(days=_WINDOW - 1), _DAYS, _HOURS)
        for name, begin in zip(chosen, begins, strict=True)
    )
