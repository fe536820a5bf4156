-- One row = the segment that runs now, of one parameter of one locomotive in service in one running
-- state. Where it was reset after the last reading the segment has no reading yet.
WITH newest AS (
    SELECT locomotive, parameter, max(reset_at) AS reset_at, max(counts_at) AS counts_at
    FROM asked_reset GROUP BY locomotive, parameter
), held AS (
    SELECT locomotive, any_value(class) AS class, parameter, running_state, any_value(unit) AS unit,
        segment, count(*) AS readings, arg_max(value, read_at) AS last, max(read_at) AS last_at,
        min(read_at) AS first_at, any_value(last_reset) AS last_reset
    FROM asked_reading GROUP BY locomotive, parameter, running_state, segment
    QUALIFY row_number() OVER (PARTITION BY locomotive, parameter, running_state
        ORDER BY segment DESC) = 1
), judged AS (
    SELECT h.*, n.reset_at, coalesce(n.counts_at >= h.last_at, false) AS reset_since
    FROM held AS h LEFT JOIN newest AS n USING (locomotive, parameter)
)
SELECT locomotive, j.class, parameter, running_state, unit, segment,
    CASE WHEN reset_since THEN NULL ELSE last END AS last,
    CASE WHEN reset_since THEN NULL ELSE last_at END AS last_at,
    CASE WHEN reset_since THEN reset_at ELSE coalesce(last_reset, first_at) END AS since,
    CASE WHEN reset_since THEN 0 ELSE readings END::BIGINT AS readings,
    attend_above, attend_below, withhold_above, withhold_below, reset_since, r.ends_at AS known_to
FROM judged AS j
JOIN read_record AS r USING (locomotive)
LEFT JOIN asked_limit USING (parameter, running_state)
WHERE r.in_service_to IS NULL OR r.in_service_to > $cut
ORDER BY locomotive, parameter, running_state
