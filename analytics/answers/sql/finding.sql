-- One row = one counted episode in scope found within the period, as it stood at the period's end.
WITH told AS (
    SELECT e.*, {gap} AS gap, e.closed_at IS NULL OR e.closed_at >= $until AS open,
        least(r.ends_at, $until) AS cut_at
    FROM (SELECT *, prev_any_at AS prev_at, prev_any_timed AS prev_timed FROM {episode}) AS e
    JOIN asked_record AS r USING (locomotive)
    SEMI JOIN asked_place ON asked_place.class = e.class AND asked_place.component = e.component
    WHERE {counted} AND e.found_at >= $since AND e.found_at < $until AND {depot_kept} AND {defect_kept}
)
SELECT locomotive, class, depot, component, position, defect,
    CASE rank WHEN 4 THEN 'in-service' WHEN 3 THEN 'withhold' WHEN 2 THEN 'rectify' ELSE 'remark' END AS severity,
    found_at AS found, CASE WHEN NOT open THEN closed_at END AS closed,
    CASE WHEN NOT open THEN action END AS action, open, deferred,
    CASE WHEN open THEN greatest((epoch_us(cut_at) - epoch_us(found_at)) / 86400e6, 0) END::DOUBLE AS age_days,
    findings, coalesce(NOT open_at_found AND gap BETWEEN 0 AND {amount}, false) AS repeat, down_hours, cost,
    rank, observed, open AND blank_action AS blank
FROM told WHERE open OR NOT {only_open}
ORDER BY {order}, locomotive, component, position NULLS LAST, defect, found_at
