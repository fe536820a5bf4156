-- One row = one failure of one chain in scope, with the days from the closing before it.
WITH told AS (
    SELECT *, count(*) OVER chain AS length, bool_or(is_open) OVER chain AS open, max(found_at) OVER chain AS last,
        bool_or(kept) OVER chain AS in_scope, min(found_at) OVER chain AS first,
        row_number() OVER (chain ORDER BY found_at, defect) AS step
    FROM asked_link WHERE counted
    WINDOW chain AS (PARTITION BY chain)
)
SELECT locomotive, component, position, length::BIGINT AS length, step::BIGINT AS step, found_at AS found,
    CASE WHEN step > 1 THEN gap_days END AS gap_days, defect,
    CASE WHEN is_open THEN NULL ELSE action END AS action, CASE WHEN NOT is_open THEN closed_at END AS closed,
    down_hours, cost
FROM told WHERE length >= {at_least} AND last >= $since AND in_scope
ORDER BY open DESC, length DESC, last DESC, locomotive, component, place, first, chain, found_at, defect
