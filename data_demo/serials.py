"""Serial numbers of the parts that carry one."""

from __future__ import annotations

import numpy as np
import pandas as pd

from data_demo.arrays import Columns, Flags
from data_demo.frames import numbered
from data_demo.scenario import WEAK_BATCH
from data_demo.world import World

FIRST_PREFIX = "OE"  # what the locomotives had when records began


def serial_texts(world: World, rows: Columns, way: str, written: Flags) -> pd.Series[str]:
    """Return the serial numbers of what went `out` or `in`, empty where not written.

    A part keeps its number: what goes out bears the number under which it came in. The first two
    digits tell the block of locomotives, so that no number comes twice.
    """
    unit, weak = rows[f"unit_{way}"][written], rows[f"weak_{way}"][written].astype(bool)
    usual = np.where(unit < len(world.locomotive), FIRST_PREFIX, WEAK_BATCH.usual_prefix)
    prefix = pd.Series(np.where(weak, WEAK_BATCH.prefix, usual)).astype(object)
    texts = np.full(len(written), None, dtype=object)
    texts[written] = numbered(prefix, world.block * 1_000_000 + unit, 8).to_numpy()
    return pd.Series(texts, dtype=object)
