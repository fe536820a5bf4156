-- One row = the life in progress of one position at its locomotive's data cut or at the period's end,
-- whichever is earlier: the latest life begun before it, where nothing has ended it by then.
WITH cut AS (
    SELECT r.locomotive, least(r.ends_at, $until) AS cut_at,
        CASE WHEN $until < r.ends_at THEN edge.until_tick ELSE {ends_tick} END AS cut_tick
    FROM asked_record AS r LEFT JOIN asked_edge AS edge USING (locomotive)
    WHERE r.in_service_to IS NULL OR r.in_service_to > $until
), latest AS (  -- the last stretch at risk of the last life begun, with where that life ends
    SELECT l.*, c.cut_tick, c.cut_at FROM {life} AS l JOIN cut AS c USING (locomotive)
    SEMI JOIN asked_place ON asked_place.class = l.class AND asked_place.component = l.component
    WHERE l.counting = '{counting}' AND l.start_at < c.cut_at
    QUALIFY row_number() OVER (PARTITION BY l.locomotive, l.component, l.position
        ORDER BY l.life DESC, l.piece DESC) = 1
)
SELECT locomotive, class, component, position, start_at AS since, start_known, start_age,
    end_kind IN ('end', 'pause') OR exit_at >= $until AS in_progress,
    (cut_tick - {start_tick})::BIGINT AS ticks
FROM latest AS l WHERE {depot_kept} ORDER BY component, locomotive, position
