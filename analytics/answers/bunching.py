"""How much more unevenly failures come than by chance, over stretches as long as a horizon."""

from __future__ import annotations

from dataclasses import replace

from analytics.answers.ground import lay_failures, lay_ground, text_of
from analytics.estimate.forecast import dispersion
from analytics.scope import Scope
from analytics.store import Reader

LONGEST_DAYS = 730


def bunching(reader: Reader, scope: Scope, days: float) -> float:
    """Return the dispersion of the failures in scope by locomotive and stretch of so many days.

    Of all locomotives of the classes in scope, so that naming one changes nothing.
    """
    ground = lay_ground(reader, replace(scope, locomotives=(), depots=()))
    lay_failures(ground)
    number = max(1, int(LONGEST_DAYS / days))
    query = text_of("stretch_count.sql").format(days=days, number=number)
    counts = ground.rows(query, until=ground.until)
    return dispersion(counts["failures"], counts["locomotive"].to_numpy(dtype=str))
