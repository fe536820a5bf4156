-- asked_link: one row = one failure in scope with the number of its chain (a run of failures of one
-- position, each found within one window of the closing before it). Runs go over all failures, also
-- uncounted ones; `counted` tells which are listed, `gap` is the way from the closing before.
WITH told AS (
    SELECT *, coalesce(position, 0) AS place, {kind} AS kind, {prev}_at AS prev_at, {prev}_timed AS prev_timed,
        {prev}_hours AS prev_hours, {prev}_km AS prev_km, {counted} AS counted
    FROM {episode} SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    WHERE found_at < $until AND observed
), linked AS (
    SELECT *, CASE WHEN NOT open_at_found AND {gap} BETWEEN 0 AND {amount} THEN 0 ELSE 1 END AS begins,
        {gap_days} AS gap_days, closed_at IS NULL OR closed_at >= $until AS is_open FROM told
)
SELECT locomotive, component, position, place, kind, defect, found_at, begins, gap_days, is_open, counted,
    closed_at, action, down_hours, cost, {depot_kept} AND {defect_kept} AS kept,
    sum(begins) OVER (PARTITION BY locomotive, component, place, kind
        ORDER BY found_at, defect ROWS UNBOUNDED PRECEDING) AS chain
FROM linked
