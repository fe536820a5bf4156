-- One row = one closing in scope within the period, with the gap to the next counted failure of its
-- position and the gap to where it can no longer be followed, both in the window's unit (NULL: the
-- clock is not known there). At one instant findings come before closings.
WITH told AS (
    SELECT locomotive, component, coalesce(position, 0) AS place, {kind} AS kind, found_at AS moment, 0 AS turn,
        struct_pack(found_at := found_at, found_timed := found_timed, found_hours := found_hours,
            found_km := found_km) AS next, NULL AS episode
    FROM {episode} SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    WHERE {counted} AND found_at < $until
    UNION ALL
    SELECT locomotive, component, coalesce(position, 0), {kind}, closed_at, 1, NULL, episode FROM {closing}
    SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
), ahead AS (
    SELECT episode, last_value(next IGNORE NULLS) OVER (PARTITION BY locomotive, component, place, kind
        ORDER BY moment DESC, turn DESC, next.found_timed ROWS UNBOUNDED PRECEDING) AS next
    FROM told QUALIFY episode IS NOT NULL
), followed AS (
    SELECT c.* EXCLUDE (censored_at, censored_hours, censored_km), true AS censored_timed,
        least(c.censored_at, $until) AS censored_at,
        CASE WHEN c.censored_at > $until THEN edge.until_hours ELSE c.censored_hours END AS censored_hours,
        CASE WHEN c.censored_at > $until THEN edge.until_km ELSE c.censored_km END AS censored_km,
        next.found_at, next.found_timed, next.found_hours, next.found_km
    FROM {closing} AS c SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    LEFT JOIN ahead USING (episode) LEFT JOIN until_edge AS edge USING (locomotive)
    WHERE c.closed_at >= $since AND c.closed_at < $until AND {depot_kept} AND {defect_kept}
)
SELECT {by} locomotive AS unit, observed, blank_action, coalesce(found_at <= censored_at, false) AS recurred,
    {next_gap} AS next_gap, {end_gap} AS end_gap
FROM (SELECT * REPLACE (coalesce(action, '') AS action, coalesce(depot, '') AS depot),
    strftime(closed_at, '%Y-%m') AS month,
    (['remark', 'rectify', 'withhold', 'in-service'])[rank] AS severity FROM followed)
