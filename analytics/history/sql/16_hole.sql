-- h_hole: one row = one stretch of one locomotive over which one counter is not known: before its
-- first reading, between two readings more than 62 days apart, beyond 31 days after the last.
CREATE OR REPLACE TEMP TABLE h_hole AS
WITH steps AS (
    SELECT locomotive, clock, moment, lead(moment) OVER (PARTITION BY locomotive, clock ORDER BY moment) AS next_at,
        lag(moment) OVER (PARTITION BY locomotive, clock ORDER BY moment) AS before_at
    FROM h_counter
)
SELECT locomotive, clock, moment AS from_at, next_at AS to_at FROM steps WHERE next_at > moment + to_days(62)
UNION ALL SELECT locomotive, clock, moment + to_days(31), 'infinity'::TIMESTAMP FROM steps WHERE next_at IS NULL
UNION ALL SELECT locomotive, clock, '-infinity'::TIMESTAMP, moment FROM steps WHERE before_at IS NULL;
