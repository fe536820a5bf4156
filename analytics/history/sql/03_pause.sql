-- h_pause: one row = one stretch in which one locomotive was not at risk: out of use, or not
-- observed (no inspection for more than 14 days, or 4 times its median interval where that is more,
-- although its inspections are handed in). Stretches may overlap.
CREATE OR REPLACE TEMP TABLE h_pause AS
WITH idle AS (
    SELECT locomotive, greatest(from_at, begins_at) AS from_at,
        least(coalesce(to_at, ends_at), ends_at) AS to_at
    FROM f_out_of_use JOIN h_record USING (locomotive) WHERE begins_at IS NOT NULL
), seen AS (  -- the ends of idle stretches are no absence: nothing was there to inspect
    SELECT locomotive, inspected_at AS moment FROM f_inspections
    UNION SELECT locomotive, from_at FROM idle WHERE from_at < to_at
    UNION SELECT locomotive, to_at FROM idle WHERE from_at < to_at
    UNION SELECT locomotive, begins_at FROM h_record
    UNION SELECT locomotive, ends_at FROM h_record
), steps AS (
    SELECT locomotive, moment AS from_at, lead(moment) OVER (PARTITION BY locomotive ORDER BY moment) AS to_at
    FROM seen JOIN h_record USING (locomotive) WHERE moment BETWEEN begins_at AND ends_at
)
SELECT locomotive, 'out-of-use' AS kind, from_at, to_at FROM idle WHERE from_at < to_at
UNION ALL
SELECT locomotive, 'not-observed', s.from_at, s.to_at
FROM steps AS s JOIN h_record AS r USING (locomotive)
WHERE r.inspections > 0
    AND epoch_us(s.to_at) - epoch_us(s.from_at)
        > 86400e6 * greatest(14, 4 * coalesce(r.median_interval_days, 0))
    AND NOT EXISTS (
        FROM idle AS i WHERE i.locomotive = s.locomotive AND i.from_at <= s.from_at AND i.to_at >= s.to_at);
