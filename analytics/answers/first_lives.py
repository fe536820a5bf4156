"""The first known life of each position beside all of its lives.

Pooling the lives of positions that differ counts a short-lived position many times and a long-lived
one once: the life per replacement comes out at 0.66 to 0.90 of the mean life of the positions
(simulated). The first known lives alone count each position once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analytics.answer import Message, say
from analytics.answers.clocks import on_clock
from analytics.answers.lives import Lives, count_lives
from analytics.estimate.lives import LifeFit

_PLACE = ["component", "locomotive", "position"]


@dataclass(frozen=True, slots=True)
class FirstLives:
    """Laws fitted to the first known lives of one group.

    `positions` counts the group's positions, `without` those that contribute none, `repeated` the
    lives that are not the first of theirs.
    """

    fits: list[LifeFit]
    lives: int
    positions: int
    without: int
    repeated: int

    def of(self, fit: LifeFit) -> LifeFit | None:
        """Return the first lives' fit of the same law, None where either has none."""
        same = [one for one in self.fits if one.model == fit.model and not np.isnan(one.median)]
        return same[0] if same and not np.isnan(fit.median) else None

    def disagree(self, fit: LifeFit) -> bool:
        """Tell whether the medians of both fits lie outside each other's bounds.

        The first lives are a part of all: that their median leaves the narrower bounds of all is
        by itself no more than their being fewer. A bound that does not exist is open.
        """
        first = self.of(fit)
        return first is not None and _outside(first.median, fit) and _outside(fit.median, first)


def _outside(age: float, fit: LifeFit) -> bool:
    return age < fit.median_lower or age > fit.median_upper


def only_first(lives: Lives) -> Lives:
    """Keep the first known life of each position."""
    first = lives.frame["first_known"].astype(bool)
    return replace(lives, frame=lives.frame[first].reset_index(drop=True))


def number_places(lives: Lives) -> Lives:
    """Give every life and every life left out the number of its position, as column `place`."""
    both = pd.concat([lives.frame[_PLACE], lives.dropped[_PLACE]], ignore_index=True)
    place = both.groupby(_PLACE, sort=False).ngroup().to_numpy()
    known = len(lives.frame)
    return replace(
        lives,
        frame=lives.frame.assign(place=place[:known]),
        dropped=lives.dropped.assign(place=place[known:]),
    )


def count_first(part: pd.DataFrame, dropped: pd.DataFrame, fits: list[LifeFit]) -> FirstLives:
    """Count positions and lives of one group, both numbered: those of known age, those left out."""
    first = part[part["first_known"].astype(bool)]
    known, lives = int(first["place"].nunique()), count_lives(first)
    everywhere = np.union1d(part["place"], dropped["place"]).size
    return FirstLives(fits, lives, everywhere, everywhere - known, count_lives(part) - lives)


def first_life_note(first: FirstLives, fit: LifeFit) -> str:
    """Say on a row that the first known lives alone tell another life."""
    alone = first.of(fit)
    if alone is None or not first.disagree(fit):
        return ""
    return say(
        Message(
            "fit.first_lives_row",
            median=alone.median,
            lower=alone.median_lower,
            upper=alone.median_upper,
        )
    )


def first_life_notes(
    groups: Sequence[tuple[LifeFit, FirstLives]], clock: str, *, used: bool
) -> list[Message]:
    """Say what the first known lives alone tell; `used`: that they are what was fitted.

    Parameters
    ----------
    groups
        The best fit of each group and its first known lives.
    clock
        Of the ages.
    used
        Whether the fits are of the first known lives.
    """
    positions = sum(first.positions for _, first in groups)
    if not positions:
        return []
    share = 100 * sum(first.without for _, first in groups) / positions
    repeated = sum(first.repeated for _, first in groups)
    if used:
        return [Message("fit.first_lives_only", lives=repeated, percent=share)]
    if not repeated:
        return []
    beside = [(fit, first) for fit, first in groups if first.of(fit) is not None]
    if len(groups) == 1:
        return [_of_one(*groups[0], clock, percent=share)]
    apart = sum(first.disagree(fit) for fit, first in beside)
    return [
        Message(
            "fit.first_lives",
            fitted=len(beside),
            all=len(groups),
            apart=apart,
            percent=share,
        )
    ]


def _of_one(fit: LifeFit, first: FirstLives, clock: str, *, percent: float) -> Message:
    alone = first.of(fit)
    if alone is None:
        failures = first.fits[0].failures if first.fits else 0
        return Message(
            "fit.first_lives_too_few", failures=failures, lives=first.lives, percent=percent
        )
    return on_clock(
        "fit.first_lives_differ" if first.disagree(fit) else "fit.first_lives_agree",
        clock,
        median=alone.median,
        lower=alone.median_lower,
        upper=alone.median_upper,
        failures=alone.failures,
        lives=first.lives,
        percent=percent,
    )
