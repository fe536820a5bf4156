"""The funnel: each ratio of observed to expected beside what chance alone would let it be."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.answer import Message
from analytics.answers.clocks import whole
from analytics.answers.groups import finished
from analytics.estimate.standouts import BETA_BINOMIAL, Standouts
from analytics.estimate.tails import funnel_limits

INNER, OUTER = 0.95, 0.998
"""Shares of units without a difference that lie between the lines (common for funnels)."""

COLUMNS = (
    "class", "observed", "expected", "ratio", "counts_as", "inner_lower", "inner_upper",
    "outer_lower", "outer_upper", "outside",
)  # fmt: skip


def funnel_table(counts: pd.DataFrame, found: Standouts, words: tuple[str, ...]) -> pd.DataFrame:
    """Return a row per unit of which something was expected, what counts least first.

    `counts_as` is how many findings of chance alone would scatter as much: what was expected,
    divided by the dispersion where those that do not stand out vary more than chance (judged by
    the beta-binomial). The limits are those of a Poisson count with that mean, so one pair of
    lines serves classes of unlike spread. `outside` is `above` or `below` the outer limits, else
    empty.
    """
    kept = np.flatnonzero(found.expected > 0)
    spread = np.where(_spread(found), np.fmax(found.dispersion, 1.0), 1.0)
    effective, ratio = (found.expected / spread)[kept], found.ratio[kept]
    limits = {}
    for name, level in (("inner", INNER), ("outer", OUTER)):
        limits[f"{name}_lower"], limits[f"{name}_upper"] = funnel_limits(effective, level=level)
    outside = np.select(
        [ratio > limits["outer_upper"], ratio < limits["outer_lower"]], ["above", "below"], ""
    )
    table = counts.iloc[kept].assign(
        observed=found.observed[kept].astype(np.int64),
        expected=found.expected[kept],
        ratio=ratio,
        counts_as=effective,
        outside=outside,
        **limits,
    )
    if "class" not in table:
        table["class"] = None
    columns = (*words, *COLUMNS)
    return finished(table.sort_values("counts_as", kind="stable")[list(columns)], columns)


def funnel_reading(table: pd.DataFrame) -> Message:
    """Say how many units lie beyond the outer lines."""
    above, below = (int((table["outside"] == side).sum()) for side in ("above", "below"))
    if table.empty:
        return Message("standouts.not_compared")
    if not above and not below:
        return Message("funnel.none", rows=len(table))
    chance = len(table) * (1.0 - OUTER)
    told = f"{chance:.1g}" if chance < 1 else whole(round(chance))
    return Message("funnel.beyond", above=above, below=below, rows=len(table), chance=told)


def funnel_notes(found: Standouts) -> list[Message]:
    """Say what the lines are, and where they were set wider."""
    notes = [Message("funnel.lines", inner=whole(100 * INNER), outer=100 * OUTER)]
    if _spread(found).any():
        notes.append(Message("funnel.wider"))
    return notes


def _spread(found: Standouts) -> NDArray[np.bool_]:
    return np.asarray(found.method == BETA_BINOMIAL, dtype=np.bool_)
