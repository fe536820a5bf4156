-- One row = one chain in scope: a run of failures of one position, each found within one window of
-- the closing before it. Runs go over all failures, also uncounted ones; what is counted is listed.
WITH told AS (
    SELECT *, coalesce(position, 0) AS place, {kind} AS kind, {prev}_at AS prev_at, {prev}_timed AS prev_timed,
        {prev}_hours AS prev_hours, {prev}_km AS prev_km, {counted} AS counted
    FROM {episode} SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    WHERE found_at < $until AND observed
), linked AS (
    SELECT *, CASE WHEN NOT open_at_found AND {gap} BETWEEN 0 AND {amount} THEN 0 ELSE 1 END AS begins FROM told
), numbered AS (
    SELECT *, sum(begins) OVER (PARTITION BY locomotive, component, place, kind
        ORDER BY found_at, defect ROWS UNBOUNDED PRECEDING) AS chain FROM linked
)
SELECT locomotive, component, any_value(position) AS position, count(*)::BIGINT AS length,
    min(found_at) AS first, max(found_at) AS last,
    bool_or(closed_at IS NULL OR closed_at >= $until) AS open,
    sum(down_hours::DECIMAL(18, 6))::DOUBLE AS down_hours, sum(cost::DECIMAL(18, 4))::DOUBLE AS cost,
    string_agg(CASE WHEN closed_at IS NULL OR closed_at >= $until THEN 'open' ELSE coalesce(action, '?') END,
        ' > ' ORDER BY found_at, defect) AS actions
FROM numbered WHERE counted GROUP BY locomotive, component, place, kind, chain
HAVING count(*) >= {at_least} AND max(found_at) >= $since AND bool_or({depot_kept} AND {defect_kept})
ORDER BY open DESC, length DESC, last DESC, locomotive, component, place
