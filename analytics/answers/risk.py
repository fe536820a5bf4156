"""Stretches at risk of every position by age since its last renewal, with the failures in them."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, text_of
from analytics.answers.groups import left_out
from analytics.answers.look_back import LookBack
from analytics.estimate.rate import IntArray
from analytics.estimate.risk_intervals import RiskIntervals


@dataclass(frozen=True, slots=True)
class Risk:
    """Stretches at risk in scope, and what could not be placed on them.

    `frame` has component, class, depot, locomotive, position, life, start_at (the renewal), `known`
    (whether the age is), `start` and `stop` (ages in h, km or days; NaN where not known), `length`
    (time at risk) and `events` (failures at the stop). `unplaced` are the failures whose position
    is not stated, one a row: component, class, depot, locomotive. `left_out` counts failures by
    reason.
    """

    frame: pd.DataFrame
    unplaced: pd.DataFrame
    left_out: dict[str, int]

    @property
    def aged(self) -> pd.DataFrame:
        """The stretches whose age is known."""
        return self.frame[self.frame["known"]]

    @property
    def unknown_start(self) -> int:
        """The failures at an age that is not known."""
        return int(self.frame["events"][~self.frame["known"]].sum())


def read_risk(ground: Ground, *, first_within: str | None = None) -> Risk:
    """Read the stretches at risk in scope, on the clock of the ground.

    Parameters
    ----------
    ground
        With `asked_exposure` and `asked_episode` laid out.
    first_within
        Count only first findings: those with which a chain of repeats within this window begins.
        None counts every failure.

    Conventions
    -----------
    Every renewal, planned or not, sets the age back, or to that of the part fitted; a restored
    position keeps its age. Out of use and not observed are not at risk. Between a failure and its
    own renewal nothing is at risk: what is found then is left out of figures by age (it counts for
    rates), as `out_of_window`.
    """
    _lay_events(ground, first_within)
    query = text_of("risk.sql").format(
        life=ground.sources["life"],
        counting=ground.scope.counting,
        **{f"{name}_tick": ground.tick(f"l.{name}") for name in ("start", "entry", "exit")},
    )
    frame = _aged(ground.rows(query), ground)
    placed = int(ground.rows("SELECT count(position) AS number FROM asked_event")["number"].iloc[0])
    unplaced = ground.rows(
        "SELECT component, class, depot, locomotive FROM asked_event WHERE position IS NULL"
        " ORDER BY ALL"
    )
    return Risk(frame, unplaced, _left_out(ground, placed - int(frame["events"].sum())))


def intervals_of(frame: pd.DataFrame, group: IntArray, groups: int) -> RiskIntervals:
    """Return stretches of known age as the estimators take them, clustered by locomotive."""
    return RiskIntervals.of(
        frame["start"],
        frame["stop"],
        frame["events"],
        group=group,
        groups=groups,
        cluster=pd.factorize(frame["locomotive"])[0],
    )


def _lay_events(ground: Ground, first_within: str | None) -> None:
    """Make `asked_event`: the failures that a figure by age counts."""
    if first_within is None:
        ground.make(
            "asked_event",
            "SELECT episode, locomotive, class, component, position, depot, found_at, found_tick"
            " FROM asked_episode WHERE observed AND found_tick IS NOT NULL",
        )
        return
    window = LookBack.read(first_within)
    ground.make(
        "asked_event",
        text_of("first_finding.sql").format(
            episode=ground.sources["episode"],
            counted=ground.counted,
            gap=window.gap("prev", "found"),
            amount=window.amount,
        ),
    )


def _aged(found: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    """Turn ticks into ages, where the age of the part is known on this clock."""
    own_clock = found["component"].map(
        {name: entry.clock == ground.clock for name, entry in ground.catalogue.components.items()}
    )
    known = found["start_known"] & (own_clock.astype(bool) | (found["start_age"] == 0))
    known &= found["start_tick"].notna()
    scale = TICKS[ground.clock]
    # differences of whole ticks first: microseconds since 1970 leave a float no digits to lose
    length = (found["to_tick"] - found["from_tick"]).astype("float64") / scale
    ages = {
        name: (found[tick] - found["start_tick"]).astype("float64") / scale + found["start_age"]
        for name, tick in (("start", "from_tick"), ("stop", "to_tick"))
    }
    return (
        found.assign(known=known, length=length)
        .assign(**{name: age.where(known) for name, age in ages.items()})
        .drop(columns=["start_known", "start_age", "start_tick", "from_tick", "to_tick"])
        .dropna(subset=["length"])
        .reset_index(drop=True)
    )


def _left_out(ground: Ground, between: int) -> dict[str, int]:
    counts = left_out(ground)
    if between:
        counts["out_of_window"] = counts.get("out_of_window", 0) + between
    return counts
