"""Whether any locomotive asked about has what was asked about."""

from __future__ import annotations

from analytics.answer import Message
from analytics.answers.ground import lay_ground
from analytics.scope import Scope
from analytics.store import Reader

NOT_BY_PLACE = ("counters", "batches", "set_aside", "plan")
"""Questions that do not look at positions."""


def no_place(reader: Reader, scope: Scope) -> Message | None:
    """Say that no class in scope has a position of the components named, where that is so.

    Nothing is said where no locomotive is in scope: that is another sentence.
    """
    if not scope.components:
        return None
    ground = lay_ground(reader, scope)
    classes = ground.rows("SELECT DISTINCT class FROM asked_record ORDER BY class")["class"]
    if ground.components or classes.empty:
        return None
    return Message(
        "places.none", components=list(scope.components), classes=list(classes.fillna(""))
    )
