-- One row = one closing in scope within the period, with the gap to the next counted failure of its
-- position and the gap to where it can no longer be followed, both in the window's unit (NULL: the
-- clock is not known there). At one instant findings come before closings. Places are compared as
-- numbers and the failure joined again at the end: to sort them with all their columns would cost more.
WITH loco AS (
    SELECT locomotive, row_number() OVER (ORDER BY locomotive) AS loco FROM asked_record
), part AS (
    SELECT class, component, dense_rank() OVER (ORDER BY component) AS part FROM asked_place
), told AS (
    SELECT (loco * 100_000 + part) * 100_000 + coalesce(position, 0) AS place, {kind} AS kind, found_at AS moment, 0 AS turn,
        found_timed AS timed, episode AS next, NULL::BIGINT AS episode
    FROM {episode} JOIN loco USING (locomotive) JOIN part USING (class, component)
    WHERE {counted} AND found_at < $until
    UNION ALL
    SELECT (loco * 100_000 + part) * 100_000 + coalesce(position, 0), {kind}, closed_at, 1, NULL, NULL, episode
    FROM {closing} JOIN loco USING (locomotive) JOIN part USING (class, component)
), ahead AS (
    SELECT episode, last_value(next IGNORE NULLS) OVER (PARTITION BY place, kind
        ORDER BY moment DESC, turn DESC, timed ROWS UNBOUNDED PRECEDING) AS next
    FROM told QUALIFY episode IS NOT NULL
), followed AS (
    SELECT c.* EXCLUDE (censored_at, censored_hours, censored_km), true AS censored_timed, loco,
        least(c.censored_at, $until) AS censored_at,
        CASE WHEN c.censored_at > $until THEN edge.until_hours ELSE c.censored_hours END AS censored_hours,
        CASE WHEN c.censored_at > $until THEN edge.until_km ELSE c.censored_km END AS censored_km,
        n.found_at, n.found_timed, n.found_hours, n.found_km
    FROM {closing} AS c JOIN ahead USING (episode) JOIN loco USING (locomotive)
    LEFT JOIN {episode} AS n ON n.episode = ahead.next LEFT JOIN until_edge AS edge USING (locomotive)
    WHERE c.closed_at >= $since AND c.closed_at < $until AND {depot_kept} AND {defect_kept}
)
SELECT {by} loco AS unit, observed, blank_action, coalesce(found_at <= censored_at, false) AS recurred,
    {next_gap} AS next_gap, {end_gap} AS end_gap
FROM (SELECT * REPLACE (coalesce(action, '') AS action, coalesce(depot, '') AS depot),
    strftime(closed_at, '%Y-%m') AS month,
    (['remark', 'rectify', 'withhold', 'in-service'])[rank] AS severity FROM followed)
