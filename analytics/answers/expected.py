"""First findings and how many were to be expected, each component on its own clock."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answers.ground import Ground, lay_failures, lay_ground, text_of
from analytics.answers.risk import Risk, intervals_of, read_risk
from analytics.estimate.intensity import expected_failures, fit_intensities
from analytics.estimate.rate import FloatArray, IntArray
from analytics.scope import CLOCKS, Scope
from analytics.store import Reader

_KIND = ["class", "component"]
_PLACE = ["locomotive", "component", "position"]


@dataclass(frozen=True, slots=True)
class Expected:
    """Stretches at risk with what was found and expected in them, and what failures cost.

    `frame` has class, component, depot, locomotive, position (0: findings whose position is not
    stated), start_at, serial (empty: not written when the part went in), events and expected.
    `losses` has one row a counted failure, repeats included: the same keys, lost_hours and cost.
    Over one class and component, `expected` adds up to `events`.
    """

    ground: Ground
    frame: pd.DataFrame
    losses: pd.DataFrame
    left_out: dict[str, int]
    clocks: tuple[str, ...]
    exposure: float


def expect(reader: Reader, scope: Scope, *, first_within: str = "30d") -> Expected:
    """Count first findings in scope and what each stretch at risk lets expect of them.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked. Without a clock each component is taken on its own.
    first_within
        The window after a closing in which a finding belongs to the one before.

    Conventions
    -----------
    By class and component: where the age since renewal is known and the intensity clearly rises
    with it (lower bound of the shape above 1), from that intensity; everywhere else in proportion
    to the time at risk. An intensity that falls with age is also what unlike locomotives look like
    when put together: the bad ones are renewed often and stay young. Expected counts taken from it
    would hide them.

    References
    ----------
    Aalen (1988), Mathematical Scientist 13, 90-103: heterogeneity in survival analysis.
    """
    parts, exposure = [], 0.0
    left_out: Counter[str] = Counter()
    scopes = by_clock(lay_ground(reader, scope), scope.clock)
    for part in scopes:
        ground = lay_ground(reader, part)
        lay_failures(ground)
        risk = read_risk(ground, first_within=first_within)
        frame = _with_serials(_expected(risk), ground)
        parts.append((frame, _losses(ground, frame)))
        exposure += float(risk.frame["length"].sum())
        left_out.update(risk.left_out)
    frames, losses = (pd.concat(list(each), ignore_index=True) for each in zip(*parts, strict=True))
    ground = lay_ground(reader, scope)
    lay_failures(ground)
    clocks = tuple(str(part.clock) for part in scopes)
    known = exposure if len(clocks) == 1 else np.nan
    return Expected(ground, frames, losses, dict(left_out), clocks, known)


def by_clock(ground: Ground, asked: str | None) -> list[Scope]:
    """Split a Scope by the clocks of its components, unless it names one."""
    own = {name: ground.catalogue.components[name].clock for name in ground.components}
    clocks = [clock for clock in CLOCKS if clock in own.values()]
    if asked or len(clocks) < 2:
        return [ground.scope]
    return [
        replace(
            ground.scope, clock=clock, components=tuple(n for n, c in own.items() if c == clock)
        )
        for clock in clocks
    ]


def _expected(risk: Risk) -> pd.DataFrame:
    """Return the stretches with `events` and `expected`; findings without a position are added."""
    frame = risk.frame.assign(expected=0.0)
    kind, kinds = number_kinds(frame)
    known = frame["known"].to_numpy(dtype=bool)
    aged = intervals_of(frame[known], kind[known], kinds)
    fits = fit_intensities(aged)
    length = frame["length"].to_numpy()
    rising = (fits.shape_lower > 1)[aged.group]
    by_age = np.where(rising, expected_failures(fits, aged), length[known])
    found = np.zeros(len(frame))
    # failures at age 0, which no law of age expects, are spread over the time at risk as well
    found[known] = brought_to(by_age, frame["events"].to_numpy()[known], kind[known], kinds)
    found[~known] = brought_to(
        length[~known], frame["events"].to_numpy()[~known], kind[~known], kinds
    )
    frame["expected"] = found
    return pd.concat([frame, without_position(frame, risk.unplaced)], ignore_index=True)


def number_kinds(frame: pd.DataFrame) -> tuple[IntArray, int]:
    """Number the classes and components of stretches from 0 on; also return how many there are."""
    if frame.empty:
        return np.zeros(0, np.int64), 1
    kind = np.asarray(frame.groupby(_KIND, sort=True).ngroup(), dtype=np.int64)
    return kind, int(kind.max()) + 1


def brought_to(weight: FloatArray, events: FloatArray, kind: IntArray, kinds: int) -> FloatArray:
    """Share out the events of each kind in proportion to the weights."""
    weight = np.nan_to_num(weight)
    total = np.bincount(kind, weights=weight, minlength=kinds)
    events_of = np.bincount(kind, weights=events, minlength=kinds)
    return weight * (events_of / np.where(total > 0, total, 1.0))[kind]


def without_position(frame: pd.DataFrame, unplaced: pd.DataFrame) -> pd.DataFrame:
    """Return one row a locomotive, depot and component: findings without position, and expected."""
    where = [*_KIND, "depot", "locomotive"]
    counts = unplaced.groupby(_KIND).size().rename("number").reset_index()
    seen = frame.groupby(where, as_index=False)["length"].sum().merge(counts, on=_KIND)
    share = seen["length"] / seen.groupby(_KIND)["length"].transform("sum")
    expected = seen[where].assign(expected=share * seen["number"], events=0)
    found = unplaced[where].assign(expected=0.0, events=1)
    both: pd.DataFrame = pd.concat([expected, found], ignore_index=True)
    return both.assign(position=0, known=False)


def _with_serials(frame: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    sources = {name: ground.in_force(name) for name in ("findings", "work")}
    query = text_of("fitted.sql").format(**sources)
    fitted = ground.rows(query)
    found = frame.merge(fitted, how="left", on=[*_PLACE, "start_at"])
    found["serial"] = found["serial"].fillna("")
    kept = [*_KIND, "depot", "locomotive", "position", "start_at", "serial", "events", "expected"]
    named: pd.DataFrame = found[kept]
    return named


def _losses(ground: Ground, frame: pd.DataFrame) -> pd.DataFrame:
    """Return what each counted failure cost, with the serial of the part then in its position."""
    lost = ground.rows(
        "SELECT a.class, a.component, a.depot, a.locomotive, coalesce(a.position, 0)::INTEGER AS"
        " position, a.found_at, coalesce(e.down_hours, 0) AS lost_hours,"
        " coalesce(e.cost, 0) AS cost"
        f" FROM asked_episode AS a JOIN {ground.sources['episode']} AS e USING (episode)"
        " WHERE a.observed ORDER BY a.found_at, a.episode"
    )
    begun = frame.dropna(subset=["start_at"])[[*_PLACE, "start_at", "serial"]].drop_duplicates()
    begun = begun.sort_values("start_at").astype({"position": lost["position"].dtype})
    return pd.merge_asof(
        lost, begun, left_on="found_at", right_on="start_at", by=_PLACE, allow_exact_matches=False
    ).fillna({"serial": ""})
