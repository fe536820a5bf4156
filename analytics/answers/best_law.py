"""The best fitting law of life of each group, with the lives it was fitted to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answers.groups import Key, each_group
from analytics.answers.lives import Lives, life_batch
from analytics.estimate.lives import LifeFit, fit_groups


@dataclass(frozen=True, slots=True)
class BestLaw:
    """One group: its lives, and the law with the least AICc."""

    key: Key
    lives: pd.DataFrame
    fit: LifeFit

    @property
    def fitted(self) -> bool:
        """Whether there is a law."""
        return not np.isnan(self.fit.loglik)


def best_laws(lives: Lives, by: Sequence[str], *, level: float) -> list[BestLaw]:
    """Fit the laws of life to every group that has lives, and keep the best of each."""
    parts = [(key, part) for key, part, _ in each_group(lives.frame, by) if len(part)]
    fits = fit_groups(life_batch([part for _, part in parts]), level=level)
    return [BestLaw(key, part, fits[at][0]) for at, (key, part) in enumerate(parts)]
