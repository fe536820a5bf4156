-- One row = one chain in scope, with what was done each time.
SELECT any_value(locomotive) AS locomotive, any_value(component) AS component, any_value(position) AS position,
    count(*)::BIGINT AS length, min(found_at) AS first, max(found_at) AS last, bool_or(is_open) AS open,
    sum(down_hours::DECIMAL(18, 6))::DOUBLE AS down_hours, sum(cost::DECIMAL(18, 4))::DOUBLE AS cost,
    string_agg(CASE WHEN is_open THEN 'open' ELSE coalesce(action, '?') END, ' > ' ORDER BY found_at, defect) AS actions
FROM asked_link WHERE counted GROUP BY chain
HAVING count(*) >= {at_least} AND max(found_at) >= $since AND bool_or(kept)
ORDER BY open DESC, length DESC, last DESC, locomotive, component, any_value(place), first, chain
