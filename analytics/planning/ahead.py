"""What a plan rests on: every position with its age and law, what stands, what is open."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np
import pandas as pd

from analytics.answers.availability import availability
from analytics.answers.findings import findings
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.kinds import Kinds
from analytics.answers.next_weeks import losses
from analytics.answers.outlook import Outlook, look_ahead
from analytics.errors import PlanError
from analytics.estimate.forecast import FEWEST_EVENTS
from analytics.scope import Scope
from analytics.store import Reader

WEIGHT_OF_COMPONENT = 5.0
"""So many closings of the component count beside those of a class's own."""

IN_SERVICE = (
    "SELECT locomotive, class FROM {record} WHERE ends_at IS NOT NULL AND (in_service_to IS NULL OR"
    " in_service_to > ends_at) ORDER BY locomotive"
)
"""The locomotives in service at the end of their record, `record` named."""


@dataclass(frozen=True, slots=True, eq=False)
class Ahead:
    """The fleet as it is on the first day of a plan.

    Attributes
    ----------
    fleet
        A row a locomotive in service: locomotive, class, stored (out of use), expected (failures
        over the horizon, of all components).
    positions
        A row a position in service: locomotive, class, component, position, clock, age (at the
        data cut), a_day, start_known, ratio, law_part and law (place in `kinds`), rises (the
        intensity of its kind clearly rises with age), renewed (chance that a failure is closed by
        a renewal), down_days and cost_each (means of a failure).
    standing
        A row a locomotive that is withheld or has a withhold finding open: locomotive, since, what.
    open
        A row a finding that is open: locomotive, component, position, defect, found.
    kinds
        The laws, one entry a clock.
    known_to
        The data cut.
    data
        Snapshot and catalogue that this was read from.
    """

    fleet: pd.DataFrame
    positions: pd.DataFrame
    standing: pd.DataFrame
    open: pd.DataFrame
    kinds: tuple[Kinds, ...]
    known_to: date
    data: str

    @property
    def classes(self) -> dict[str, str]:
        """The class of each locomotive in service."""
        return dict(zip(self.fleet["locomotive"], self.fleet["class"], strict=True))

    @property
    def tomorrow(self) -> date:
        """The day after the data cut."""
        return self.known_to + timedelta(days=1)


def read_ahead(reader: Reader, *, days: int) -> Ahead:
    """Read what a plan over so many days rests on.

    Conventions
    -----------
    Laws and ratios are those of `next-weeks`; counting rule `rectified`. An intensity rises where
    the lower bound of its shape, one-sided at 90 %, lies above 1 and its kind has 5 failures. The
    share renewed is that of the kind's closed failures, with 5 closings' weight of its component's.

    Raises
    ------
    PlanError
        If the record holds no locomotive in service.
    """
    scope = Scope()
    outlook = look_ahead(reader, scope, float(days), bounds=True)
    ground = lay_ground(reader, scope)
    if ground.data_cut is None or outlook.frame.empty:
        raise PlanError("the record holds no locomotive in service: hand in its inspections first.")
    down = availability(reader, scope, as_list=True).table
    standing = _standing(down[down["open"].astype(bool)])
    still_open = findings(reader, scope, open=True).table
    ground = lay_ground(reader, scope)
    return Ahead(
        fleet=_fleet(ground, outlook.frame),
        positions=_positions(outlook, ground, days),
        standing=standing,
        open=still_open[["locomotive", "component", "position", "defect", "found"]],
        kinds=outlook.kinds,
        known_to=ground.data_cut.date() if ground.data_cut else date.min,
        data=reader.fingerprint,
    )


def as_of(ahead: Ahead, ages: np.ndarray, *, known_to: date) -> Ahead:
    """Return the same fleet with other ages, at another data cut, nothing open (to look onward)."""
    return replace(
        ahead,
        positions=ahead.positions.assign(age=ages, start_known=True),
        standing=ahead.standing.iloc[:0],
        open=ahead.open.iloc[:0],
        known_to=known_to,
    )


def _fleet(ground: Ground, frame: pd.DataFrame) -> pd.DataFrame:
    fleet = ground.rows(IN_SERVICE.format(record=ground.sources["record"]))
    of = frame.groupby("locomotive").agg({"stored": "max", "expected": "sum"})
    found = fleet.merge(of, how="left", left_on="locomotive", right_index=True)
    found["stored"] = found["stored"].eq(True)
    return found.assign(expected=found["expected"].fillna(0.0))


def _positions(outlook: Outlook, ground: Ground, days: int) -> pd.DataFrame:
    frame = outlook.frame.merge(losses(ground), how="left", on="component")
    frame = frame.merge(_renewed(ground), how="left", on=["class", "component"])
    shapes = [kinds.fits.shape_lower for kinds in outlook.kinds]
    part, kind = frame["law_part"].to_numpy(np.int64), frame["law"].to_numpy(np.int64)
    lower = np.array([shapes[p][k] for p, k in zip(part, kind, strict=True)], dtype=np.float64)
    kept = ["locomotive", "class", "component", "position", "clock", "age", "start_known"]
    kept += ["ratio", "law_part", "kind_law", "renewed", "expected"]
    return frame.assign(kind_law=kind)[kept].assign(
        a_day=frame["use"] / days,
        rises=(lower > 1) & (frame["events"] >= FEWEST_EVENTS),
        down_days=frame["down_days"].fillna(0.0),
        cost_each=frame["cost_each"].astype("float64").fillna(0.0),
    )


def _renewed(ground: Ground) -> pd.DataFrame:
    """Return class, component and the chance that a failure of theirs is closed by a renewal."""
    counts = ground.rows(
        "SELECT class, component, count(*) FILTER (effect = 'renew') AS renewals, count(*) AS"
        f" closings FROM {ground.sources['episode']} WHERE {ground.counted} AND closed_at IS NOT"
        " NULL AND effect IN ('renew', 'restore', 'checked') GROUP BY ALL ORDER BY ALL"
    )
    of = counts.groupby("component")[["renewals", "closings"]].transform("sum")
    share = of["renewals"] / of["closings"]
    renewed = counts["renewals"] + WEIGHT_OF_COMPONENT * share
    return counts[["class", "component"]].assign(
        renewed=renewed / (counts["closings"] + WEIGHT_OF_COMPONENT)
    )


def _standing(down: pd.DataFrame) -> pd.DataFrame:
    """Return one row a locomotive that stands: since when, and the components it waits for."""
    down = down[~down["planned"].astype(bool)]
    ordered = down.sort_values(["locomotive", "from", "component"])
    groups = ordered.groupby("locomotive", sort=True)
    named = ordered.dropna(subset=["component"]).groupby("locomotive")["component"]
    what = named.agg(lambda names: ", ".join(dict.fromkeys(names)))
    found = groups["from"].min().rename("since").reset_index()
    return found.assign(what=found["locomotive"].map(what).fillna(""))
