"""How much each locomotive will run a day: the clock that a forecast looks ahead on."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.answers.clocks import TICKS
from analytics.answers.ground import Ground, text_of
from analytics.store.current import current_sql

FEWEST_DAYS = 30
"""With fewer days read of the last 90 a locomotive's use is that of its class."""


def daily_use(ground: Ground) -> pd.DataFrame:
    """Return locomotive, class, `a_day` (h, km or days) and `stored` of all locomotives in scope.

    Conventions
    -----------
    METHODS section 9: the locomotive's median daily clock over the last 90 days; the median of its
    class where fewer than 30 days were read. Where that many were read of none of its class, its
    own of what was read, else the median of what was read of its class (NaN: nothing was). 0 where
    it is out of use at its data cut. On calendar days every day counts as one.
    """
    mine = "locomotive IN (SELECT locomotive FROM asked_record)"
    idle = current_sql("out_of_use", mine)
    use = ground.rows(
        "SELECT r.locomotive, r.class, coalesce(bool_or(o.from_at <= least(r.ends_at, $until)"
        " AND coalesce(o.to_at, 'infinity'::TIMESTAMP) > least(r.ends_at, $until)), false)"
        f" AS stored FROM asked_record AS r LEFT JOIN ({idle}) AS o USING (locomotive)"
        " GROUP BY ALL ORDER BY ALL",
        until=ground.until,
    )
    if ground.clock == "days":
        return use.assign(a_day=np.where(use["stored"], 0.0, 1.0))
    query = text_of("daily_use.sql").format(
        counter=ground.sources["counter"], clock=ground.clock, out_of_use=idle
    )
    read = ground.rows(query, until=ground.until)
    long = read[read["days"] >= FEWEST_DAYS]
    of_class, of_any = (each.groupby("class")["a_day"].median() for each in (long, read))
    own = read.set_index("locomotive")["a_day"]
    a_day = use["locomotive"].map(long.set_index("locomotive")["a_day"])
    for less in (use["class"].map(of_class), use["locomotive"].map(own), use["class"].map(of_any)):
        a_day = a_day.fillna(less)
    a_day = a_day.astype("float64") / TICKS[ground.clock]
    return use.assign(a_day=a_day.where(~use["stored"], 0.0))
