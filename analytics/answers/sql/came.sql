-- One row = one position in scope with the first new counted episode after the cut (empty: none up to
-- the end of the horizon) and where it could no longer be followed: work on it, or the record's end.
WITH place AS (
    SELECT r.locomotive, r.ends_at, p.component, unnest(range(1, p.positions + 1))::INTEGER AS position
    FROM asked_record AS r JOIN asked_place AS p USING (class) WHERE r.ends_at > $cut
), new AS (
    SELECT locomotive, component, position, min(found_at) AS found_at,
        arg_min(first_rank, found_at) AS first_rank FROM {episode}
    WHERE {counted} AND {defect_kept} AND observed AND found_at > $cut AND found_at <= $end AND position IS NOT NULL
    GROUP BY ALL
), looked AS (  -- days of an inspection with the look-closer list in hand
    SELECT DISTINCT locomotive, inspected_at::DATE AS day FROM ({inspections}) WHERE looked_closer
), job AS (
    SELECT w.locomotive, w.component, w.done_at, unnest(positions_of(w.position, p.positions))::INTEGER AS position
    FROM ({work}) AS w JOIN asked_record AS r USING (locomotive)
    JOIN asked_place AS p ON p.class = r.class AND p.component = w.component
    SEMI JOIN asked_action AS a ON a.action = w.action AND a.effect IN ('renew', 'restore')
    WHERE w.done_at > $cut AND w.done_at <= $end
), first_job AS (
    SELECT locomotive, component, position, min(done_at) AS done_at FROM job WHERE position IS NOT NULL GROUP BY ALL
)
SELECT place.locomotive, component, position, found_at AS came_at,
    coalesce(looked.day IS NOT NULL AND first_rank < 4, false) AS by_list,
    least(ends_at, $end, coalesce(done_at, $end)) AS followed_to
FROM place LEFT JOIN new USING (locomotive, component, position)
LEFT JOIN first_job USING (locomotive, component, position)
LEFT JOIN looked ON looked.locomotive = place.locomotive AND looked.day = found_at::DATE
ORDER BY ALL
