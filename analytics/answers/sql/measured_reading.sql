-- One row = one reading in scope within its locomotive's record, with the number of its segment
-- (1, 2, ... from reset to reset, those with readings) and when it was last reset before.
WITH moments AS (
    SELECT locomotive, parameter, running_state, read_at AS moment, NULL::TIMESTAMP AS reset_at
    FROM asked_entered WHERE inside
    UNION ALL
    SELECT locomotive, parameter, '', counts_at, reset_at FROM asked_reset
), numbered AS (
    -- a reset at the instant of a reading comes after it
    SELECT *, count(reset_at) OVER so_far AS resets, max(reset_at) OVER so_far AS last_reset
    FROM moments
    WINDOW so_far AS (PARTITION BY locomotive, parameter
        ORDER BY moment, reset_at NULLS FIRST, running_state ROWS UNBOUNDED PRECEDING)
)
SELECT e.* EXCLUDE (inside), n.last_reset,
    dense_rank() OVER (PARTITION BY e.locomotive, e.parameter, e.running_state ORDER BY n.resets)
        ::BIGINT AS segment
FROM asked_entered AS e
JOIN numbered AS n ON n.locomotive = e.locomotive AND n.parameter = e.parameter
    AND n.running_state = e.running_state AND n.moment = e.read_at AND n.reset_at IS NULL
WHERE e.inside
