"""The best fitting law of life of each group, with the lives it was fitted to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answers.fit import life_data
from analytics.answers.groups import Key, each_group
from analytics.answers.lives import Lives
from analytics.estimate.life_batch import LifeBatch
from analytics.estimate.lives import LifeData, LifeFit, fit_groups


@dataclass(frozen=True, slots=True)
class BestLaw:
    """One group: its lives, as they are and as fits take them, and the law with the least AICc."""

    key: Key
    lives: pd.DataFrame
    data: LifeData
    fit: LifeFit

    @property
    def fitted(self) -> bool:
        """Whether there is a law."""
        return not np.isnan(self.fit.loglik)


def best_laws(lives: Lives, by: Sequence[str], *, level: float) -> list[BestLaw]:
    """Fit the laws of life to every group that has lives, and keep the best of each."""
    parts = [(key, part) for key, part, _ in each_group(lives.frame, by) if len(part)]
    data = [life_data(part, lives) for _, part in parts]
    fits = fit_groups(LifeBatch.join(data), level=level)
    return [BestLaw(key, part, data[at], fits[at][0]) for at, (key, part) in enumerate(parts)]
