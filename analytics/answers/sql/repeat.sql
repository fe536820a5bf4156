-- One row = one counted failure in scope found within the period, with whether it is
-- a repeat: its position was not open and its latest closing lies at most one window back.
WITH looked AS (
    SELECT e.*, {prev}_at AS prev_at, {prev}_timed AS prev_timed, {prev}_hours AS prev_hours,
        {prev}_km AS prev_km, {prev}_action AS prev_action, r.begins_at, true AS begins_timed,
        r.begins_hours, r.begins_km
    FROM {episode} AS e JOIN asked_record AS r USING (locomotive)
    SEMI JOIN asked_place ON asked_place.class = e.class AND asked_place.component = e.component
    WHERE {counted} AND e.found_at >= $since AND e.found_at < $until
        AND {depot_kept} AND {defect_kept}
), gapped AS (
    SELECT *, {gap} AS gap, {since_begin} AS since_begin FROM looked
)
SELECT {by} locomotive AS unit, observed, blank_action, prev_at IS NOT NULL AND gap IS NULL AS no_clock,
    coalesce(NOT open_at_found AND gap BETWEEN 0 AND {amount}, false) AS repeat,
    coalesce(prev_action IS NULL, false) AS prev_blank,
    prev_at::DATE = found_at::DATE AS same_day,
    CASE WHEN found_timed AND prev_timed THEN (epoch_us(found_at) - epoch_us(prev_at)) / 86400e6
        ELSE date_diff('day', prev_at::DATE, found_at::DATE) END AS gap_days,
    coalesce(since_begin < {amount}, false) AS early
FROM (SELECT * REPLACE (coalesce(depot, '') AS depot, 
    CASE WHEN prev_at IS NULL THEN '-' ELSE coalesce(prev_action, '') END AS action),
    strftime(found_at, '%Y-%m') AS month FROM gapped)
