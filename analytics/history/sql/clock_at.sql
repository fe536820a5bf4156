-- instant_clock: one row = one row of `instant` with both counters there (hours in tenths, whole km):
-- linear between readings at most 62 days apart; up to 31 days beyond the last one at the median
-- rate of its last 90 days (estimated); else NULL.
CREATE OR REPLACE TEMP TABLE instant_clock AS
WITH asked AS (
    SELECT i.locomotive, c.clock, i.moment FROM instant AS i CROSS JOIN (VALUES ('hours'), ('km')) AS c (clock)
), told AS (
    SELECT locomotive, clock, moment, NULL::BIGINT AS value, NULL::TIMESTAMP AS read_at, 1 AS turn FROM asked
    UNION ALL SELECT locomotive, clock, moment, value, moment, 0 FROM h_counter
), around AS (
    SELECT locomotive, clock, moment, turn,
        last_value(value IGNORE NULLS) OVER back AS low, last_value(read_at IGNORE NULLS) OVER back AS low_at,
        last_value(value IGNORE NULLS) OVER ahead AS high, last_value(read_at IGNORE NULLS) OVER ahead AS high_at
    FROM told
    WINDOW back AS (PARTITION BY locomotive, clock ORDER BY moment, turn, value ROWS UNBOUNDED PRECEDING),
        ahead AS (PARTITION BY locomotive, clock ORDER BY moment DESC, turn DESC, value DESC
            ROWS UNBOUNDED PRECEDING)
), pace AS (
    SELECT locomotive, clock, median(step) AS a_day FROM (
        SELECT locomotive, clock, moment, max(moment) OVER (PARTITION BY locomotive, clock) AS last_at,
            (value - lag(value) OVER w) * 86400e6 / (epoch_us(moment) - epoch_us(lag(moment) OVER w)) AS step
        FROM h_counter WINDOW w AS (PARTITION BY locomotive, clock ORDER BY moment))
    WHERE moment > last_at - to_days(90) GROUP BY locomotive, clock
), valued AS (
    SELECT locomotive, clock, moment, CASE
        WHEN low_at = moment THEN low
        WHEN low_at IS NULL THEN NULL
        WHEN high_at IS NOT NULL AND high_at <= low_at + to_days(62) THEN low + round(
            (high - low)::DOUBLE * (epoch_us(moment) - epoch_us(low_at)) / (epoch_us(high_at) - epoch_us(low_at)))
        WHEN high_at IS NULL AND moment <= low_at + to_days(31) THEN
            low + round(p.a_day * (epoch_us(moment) - epoch_us(low_at)) / 86400e6)
        END::BIGINT AS value,
        low_at < moment AND high_at IS NULL AS estimated
    FROM around LEFT JOIN pace AS p USING (locomotive, clock) WHERE turn = 1
)
SELECT locomotive, moment, max(value) FILTER (clock = 'hours') AS hours, max(value) FILTER (clock = 'km') AS km,
    coalesce(bool_or(estimated AND value IS NOT NULL), false) AS estimated
FROM valued GROUP BY locomotive, moment;
