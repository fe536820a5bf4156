-- One row = one instant at which a parameter of one locomotive was reset: one of its actions was done
-- on its component, at any position. From `counts_at` on readings belong to the next segment; a reset
-- without a time of day counts from the end of its day, for the reading that led to it came before.
WITH done AS (
    SELECT locomotive, component, action, coalesce(closed_at, found_at) AS done_at,
        CASE WHEN closed_at IS NULL THEN found_timed ELSE coalesce(closed_timed, false) END AS timed
    FROM ({findings}) WHERE action IS NOT NULL
    UNION ALL
    SELECT locomotive, component, action, done_at, done_timed FROM ({work})
)
SELECT DISTINCT locomotive, parameter, done_at AS reset_at,
    CASE WHEN timed THEN done_at
        ELSE date_trunc('day', done_at) + INTERVAL 1 DAY - INTERVAL 1 MICROSECOND END AS counts_at
FROM done
JOIN asked_parameter USING (component)
JOIN asked_reset_by USING (parameter, action)
SEMI JOIN read_record USING (locomotive)
WHERE done_at < $until
