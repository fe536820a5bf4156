-- h_depot_span: one row = one stretch [from_at, to_at) over which one locomotive belonged to one
-- depot: that of its latest inspection, before the first one that of the register.
CREATE OR REPLACE TEMP TABLE h_depot_span AS
WITH stated AS (
    SELECT locomotive, '-infinity'::TIMESTAMP AS moment, depot FROM h_record
    UNION ALL
    SELECT i.locomotive, i.inspected_at, max(i.depot) FROM f_inspections AS i JOIN h_record AS r USING (locomotive)
    WHERE i.depot IS NOT NULL AND i.inspected_at BETWEEN r.begins_at AND r.ends_at GROUP BY locomotive, inspected_at
), changes AS (
    SELECT *, lag(depot) OVER (PARTITION BY locomotive ORDER BY moment) AS before FROM stated
)
SELECT locomotive, depot, moment AS from_at,
    coalesce(lead(moment) OVER (PARTITION BY locomotive ORDER BY moment), 'infinity'::TIMESTAMP) AS to_at
FROM changes WHERE moment = '-infinity' OR depot IS DISTINCT FROM before;
