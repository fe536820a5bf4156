"""What ended each life and what began it, beside the stretches that `lives` reads."""

from __future__ import annotations

import pandas as pd

from analytics.answer import Message, say
from analytics.answers.ground import Ground, text_of
from analytics.history.build import POSITIONS_OF
from analytics.store.current import current_sql

_LIFE = ["locomotive", "component", "position", "life"]


def with_marks(frame: pd.DataFrame, ground: Ground) -> pd.DataFrame:
    """Return stretches of lives with `defect`, empty where none ended it here, and `action`.

    The action is the one that began the life: what was done at the renewal before, or words that
    there was none on record.
    """
    ground.reader.cursor.execute(POSITIONS_OF)
    renewing = [
        name for name, action in ground.catalogue.actions.items() if action.effect == "renew"
    ]
    ground.keep("asked_renewal", pd.DataFrame({"action": pd.Series(renewing, dtype=object)}))
    query = text_of("life_mark.sql").format(
        life=ground.sources["life"],
        closing=ground.sources["closing"],
        counting=ground.scope.counting,
        work=current_sql("work", "locomotive IN (SELECT locomotive FROM asked_record)"),
    )
    marks = ground.rows(query)
    marked = frame.merge(marks, on=_LIFE, how="left", validate="many_to_one")
    none = say(Message("differ.no_renewal"))
    return marked.assign(
        defect=marked["defect"].where(marked["failed"].astype(bool), "").fillna(""),
        action=marked["action"].fillna(none),
    )
