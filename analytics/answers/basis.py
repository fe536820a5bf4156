"""What every figure rests on, and the caveats that several questions share."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from analytics.answer import Basis, Message
from analytics.answers.ground import Ground, text_of
from analytics.answers.groups import KIND_WORDS
from analytics.scope import NAME_FILTERS
from analytics.store.current import current_sql

WORTH_SAYING = 0.01
"""A share of the exposure below this is not mentioned."""

UNSEEN_WORTH_SAYING = 0.05
"""A share of the days in use below this, without an inspection near enough, is not mentioned."""

NOT_IN_USE = "basis.not_in_use"
"""The reading where no locomotive in scope was observed within the period."""


def make_basis(
    ground: Ground,
    method: str,
    *,
    events: int,
    exposure: float = math.nan,
    censored: int = 0,
    left_out: Mapping[str, int] | None = None,
) -> Basis:
    """Put together the basis of one answer; the exposure is in h, km or days."""
    scope = ground.scope
    filters = {field: getattr(scope, field) for field in NAME_FILTERS if getattr(scope, field)}
    return Basis(
        counting=scope.counting,
        clock=ground.clock,
        level=scope.level,
        method=method,
        since=scope.since,
        until=scope.until,
        filters=filters,
        locomotives=_locomotives(ground),
        exposure=exposure,
        events=events,
        censored=censored,
        left_out=dict(left_out or {}),
        data_cut=ground.data_cut,
        fingerprint=ground.reader.fingerprint,
    )


def in_use(ground: Ground) -> bool:
    """Whether any locomotive in scope was observed within the period; reads `asked_exposure`."""
    return bool(ground.rows("SELECT count(*) > 0 AS found FROM asked_exposure")["found"].iloc[0])


def exposure_notes(
    ground: Ground, by: Sequence[str], *, pooled: str = "basis.pooled_components"
) -> list[Message]:
    """Say what a reader must know about the exposure before reading a figure.

    `pooled` is the sentence for several components in one row.
    """
    notes = []
    found = ground.rows(
        "SELECT sum(days) AS days, sum(days) FILTER (from_tick IS NULL) AS unknown,"
        " sum(days) FILTER (estimated AND from_tick IS NOT NULL) AS estimated FROM ("
        "SELECT *, (epoch_us(to_at) - epoch_us(from_at)) / 86400e6 AS days FROM asked_exposure)"
    ).iloc[0]
    if not found["days"] > 0:
        return [Message("basis.no_exposure")]
    unknown = float(found["unknown"] / found["days"])
    shares = {
        "basis.no_counters" if unknown == 1 else "basis.unknown_clock": unknown,
        "basis.estimated_clock": float(found["estimated"] / found["days"]),
    }
    for key, share in shares.items():
        if share >= WORTH_SAYING:
            notes.append(Message(key, percent=100 * share))
    notes += _unseen(ground)
    if len(ground.components) > 1 and "component" not in by:
        notes.append(Message(pooled, components=len(ground.components)))
    if any(word in by for word in KIND_WORDS):
        notes.append(Message("basis.kinds_do_not_add"))
    return notes


def _unseen(ground: Ground) -> list[Message]:
    """Say how many locomotive-days in use are not counted, for want of an inspection near enough.

    Days out of use are none of them. With a filter on depots nothing is said: at which depot a
    locomotive was while nobody looked at it is not known.
    """
    if ground.scope.depots:
        return []
    query = text_of("unseen.sql").format(out_of_use=current_sql("out_of_use"), **ground.sources)
    found = ground.rows(query, since=ground.since, until=ground.until).iloc[0]
    unseen, in_use_days = float(found["unseen"]), float(found["days"])
    if not unseen > UNSEEN_WORTH_SAYING * in_use_days:
        return []
    percent = 100 * unseen / in_use_days
    return [Message("basis.unseen", days=round(unseen), percent=percent)]


def _locomotives(ground: Ground) -> int:
    """Count the locomotives in scope that were observed within the period."""
    found = ground.rows(
        f"SELECT count(DISTINCT x.locomotive) AS number FROM {ground.sources['exposure']} AS x"
        " SEMI JOIN asked_record USING (locomotive)"
        f" WHERE x.to_at > $since AND x.from_at < $until AND {ground.kept(depot='x.depot')}"
        " AND x.class IN (SELECT class FROM asked_place)",
        since=ground.since,
        until=ground.until,
    )
    return int(found["number"].iloc[0])
