-- One row = one part fitted with its serial number written, at the instant of the renewal. A part is
-- known by what was written when it went in, never by what came out: that is written of parts that
-- failed and not of those still at work, and would make every part known a failed one.
WITH told AS (
    SELECT locomotive, component, position, coalesce(closed_at, found_at) AS start_at, serial_in FROM ({findings})
    UNION ALL SELECT locomotive, component, position, done_at, serial_in FROM ({work})
)
SELECT t.locomotive, t.component, coalesce(TRY_CAST(t.position AS INTEGER), 1) AS position, t.start_at,
    max(upper(trim(t.serial_in))) AS serial
FROM told AS t JOIN asked_record AS r USING (locomotive)
JOIN asked_place AS p ON p.class = r.class AND p.component = t.component
WHERE trim(t.serial_in) <> '' AND (TRY_CAST(t.position AS INTEGER) IS NOT NULL OR (t.position IS NULL AND p.positions = 1))
GROUP BY ALL
