-- One row = one stretch at risk of one life in scope, cut to the period, with its clock in ticks. A
-- failure found at or after the period's end is not one yet: its life is censored at the last look
-- that found it sound, or at the end where a later look still did.
WITH kept AS (
    SELECT l.*, (l.exit_at > $until OR (l.failed AND l.exit_at >= $until)) AS cut,
        l.failed AND l.exit_at >= $until AND l.lower_at < $until AND l.lower_at < l.exit_at AS straddles
    FROM {life} AS l SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    WHERE l.counting = '{counting}' AND l.exit_at > $since AND l.entry_at < $until AND {depot_kept}
)
SELECT x.component, x.class, coalesce(x.depot, '') AS depot, x.locomotive, x.position, x.life, x.piece,
    x.start_known, x.start_age, x.inspected, x.failed AND NOT x.cut AS failed, x.first_known,
    {start_tick}::BIGINT AS start_tick,
    CASE WHEN x.entry_at < $since THEN edge.since_tick ELSE {entry_tick} END::BIGINT AS entry_tick,
    CASE WHEN x.straddles THEN {lower_tick} WHEN x.cut THEN edge.until_tick
        ELSE {exit_tick} END::BIGINT AS exit_tick,
    CASE WHEN x.cut THEN NULL ELSE {lower_tick} END::BIGINT AS lower_tick
FROM kept AS x LEFT JOIN asked_edge AS edge USING (locomotive)
ORDER BY x.component, x.locomotive, x.position, x.life, x.piece
