"""Lives of positions by age on the clock, cut to the period: what survival and the fits take."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, text_of
from analytics.estimate.life_batch import LifeBatch
from analytics.estimate.life_clusters import FEWEST_CLUSTERS
from analytics.estimate.lives import LifeData
from analytics.estimate.rate import IntArray

MOST_NOT_STATED = 0.20
"""Above this share of failures without a position, survival of a component is refused."""

MATTERS = 0.05
"""Above this median of (c - c0) / c the interval in which a failure arose matters to a curve."""

_LIFE = ["component", "locomotive", "position", "life"]


@dataclass(frozen=True, slots=True)
class Lives:
    """Stretches at risk of lives whose age is known, and what was left out.

    `frame` has component, class, depot, locomotive, position, life, entry, lower, exit (ages in h,
    km or days; a failure lies in (lower, exit]), failed, inspected, number (one per life).
    `dropped` has the same group columns, life, and the reason each life was left out for.
    """

    frame: pd.DataFrame
    dropped: pd.DataFrame
    refused: dict[str, float]
    zero_length: int
    interval_ratio: float

    @property
    def left_out(self) -> dict[str, int]:
        """Lives left out, by reason."""
        counts = self.dropped.groupby("reason").size()
        return {str(reason): int(count) for reason, count in counts.items() if count}

    @property
    def between_looks(self) -> bool:
        """Whether any failure is known only to lie between two looks."""
        return bool((self.frame["failed"] & (self.frame["lower"] < self.frame["exit"])).any())

    @property
    def intervals_matter(self) -> bool:
        """Whether the time between two looks is too long to take the finding as the failure."""
        return self.interval_ratio > MATTERS


def read_lives(ground: Ground) -> Lives:
    """Read the lives in scope under its counting rule.

    Lives whose start, or whose age on this clock, is not known are left out and counted; so are
    all lives of a component too many of whose failures do not state their position.
    """
    refused = _refused(ground)
    found = ground.rows(_query(ground), since=ground.since, until=ground.until)
    found = found[~found["component"].isin(refused)]
    reason = _reasons(found, ground)
    pieces = _aged(found[reason == ""], ground)
    joined = _joined(pieces)
    lasting = joined["exit"] > joined["entry"]
    frame = joined[lasting].reset_index(drop=True)
    return Lives(
        frame=frame.assign(number=frame.groupby(_LIFE, sort=False).ngroup()),
        dropped=found.assign(reason=reason)[reason != ""].drop_duplicates(_LIFE),
        refused=refused,
        zero_length=int((joined["failed"] & ~lasting).sum()),
        interval_ratio=_interval_ratio(frame),
    )


def life_data(part: pd.DataFrame) -> LifeData:
    """Return some of the lives as the fits take them: failures between two looks, where known.

    Also where the interval is short beside the age: under a falling hazard many lives are short,
    and then the logarithm of the found time misleads (bounds of 90 % covered 39 % in simulation at
    shape 0.7, 500 failures, daily looks; 92 % with the interval).
    """
    upper = np.where(part["failed"], part["exit"], np.inf)
    lower = np.where(part["failed"], np.maximum(part["lower"], part["entry"]), part["exit"])
    return LifeData.of(lower, upper, part["entry"])


def life_batch(parts: Sequence[pd.DataFrame]) -> LifeBatch:
    """Return groups of lives as the fits take them, the lives of one locomotive told apart."""
    return LifeBatch.join([life_data(part) for part in parts], [whose(part) for part in parts])


def enough_locomotives(part: pd.DataFrame) -> bool:
    """Whether bounds of a law can allow for lives of one locomotive being alike."""
    return int(part["locomotive"].nunique()) >= FEWEST_CLUSTERS


def whose(part: pd.DataFrame) -> IntArray:
    """Number the locomotives of some lives."""
    return np.asarray(pd.factorize(part["locomotive"])[0], dtype=np.int64)


def count_lives(frame: pd.DataFrame) -> int:
    """Count the lives that a frame has stretches of."""
    return int(frame["number"].nunique())


def not_stated(ground: Ground) -> int:
    """Count the counted failures of `asked_episode` whose position is not stated."""
    query = "SELECT count(*) AS number FROM asked_episode WHERE position IS NULL AND observed"
    return int(ground.rows(query)["number"].iloc[0])


def _query(ground: Ground) -> str:
    return text_of("life.sql").format(
        life=ground.sources["life"],
        counting=ground.scope.counting,
        depot_kept=ground.kept(depot="l.depot"),
        **{
            f"{name}_tick": ground.tick(f"x.{name}") for name in ("start", "entry", "exit", "lower")
        },
    )


def _refused(ground: Ground) -> dict[str, float]:
    shares = ground.rows(
        "SELECT component, avg((position IS NULL)::INTEGER) AS share FROM asked_episode"
        " WHERE observed GROUP BY component ORDER BY component"
    )
    over = shares[shares["share"] > MOST_NOT_STATED]
    return dict(zip(over["component"], over["share"].astype(float), strict=True))


def _reasons(found: pd.DataFrame, ground: Ground) -> pd.Series:
    """Say of each stretch why it cannot be used, empty where it can."""
    own_clock = found["component"].map(
        {name: entry.clock == ground.clock for name, entry in ground.catalogue.components.items()}
    )
    known = found["start_known"] & (own_clock.astype(bool) | (found["start_age"] == 0))
    ticks = found[["start_tick", "entry_tick", "exit_tick"]].notna().all(axis=1)
    # a failure whose last look has no clock still has its finding; see `_aged`
    return pd.Series(
        np.select(
            [~known.to_numpy(), ~ticks.to_numpy()], ["unknown_start", "no_clock"], default=""
        ),
        index=found.index,
    )


def _aged(found: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    scale = TICKS[ground.clock]
    start = found["start_tick"].to_numpy(dtype=np.int64)
    ages = {}
    for name in ("entry", "lower", "exit"):
        column = found[f"{name}_tick"].fillna(found["exit_tick"])
        ages[name] = (column.to_numpy(dtype=np.int64) - start) / scale + found[
            "start_age"
        ].to_numpy()
    return found.assign(**ages)


def _joined(pieces: pd.DataFrame) -> pd.DataFrame:
    """Join stretches of one life between which the clock stood still."""
    if pieces.empty:
        return pieces
    keys = pieces[_LIFE]
    same = (keys == keys.shift()).all(axis=1) & (pieces["entry"] == pieces["exit"].shift())
    ends = {"exit": "last", "failed": "last", "lower": "last", "depot": "last"}
    first = {name: "first" for name in pieces.columns if name not in ends}
    return pieces.groupby((~same).cumsum(), sort=False).agg(first | ends)[list(pieces.columns)]


def _interval_ratio(frame: pd.DataFrame) -> float:
    failed = frame[frame["failed"]]
    if failed.empty:
        return 0.0
    return float(((failed["exit"] - failed["lower"]) / failed["exit"]).median())
