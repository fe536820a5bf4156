-- h_counter: one row = one cleaned reading of one counter (hours in tenths, whole km) of one
-- locomotive, cumulative over replaced counters. A single value that jumps up and back, or down and
-- back, is dropped; a value that starts near zero and goes on rising is a new counter.
CREATE OR REPLACE TEMP TABLE h_counter AS
WITH received AS (
    SELECT locomotive, inspected_at AS moment, engine_hours, km FROM f_inspections
    UNION ALL SELECT locomotive, read_at, engine_hours, km FROM f_usage
    UNION ALL SELECT locomotive, coalesce(in_service_from, begins_at), engine_hours_at_start, km_at_start
        FROM h_record WHERE coalesce(in_service_from, begins_at) IS NOT NULL
), long AS (
    SELECT locomotive, 'hours' AS clock, moment, max(round(engine_hours * 10)::BIGINT) AS raw,
        240 AS most_a_day FROM received WHERE engine_hours IS NOT NULL GROUP BY locomotive, moment
    UNION ALL
    SELECT locomotive, 'km', moment, max(round(km)::BIGINT), 2400 FROM received WHERE km IS NOT NULL
        GROUP BY locomotive, moment
), beside AS (
    SELECT *, lag(raw) OVER w AS before, lead(raw) OVER w AS after
    FROM long WINDOW w AS (PARTITION BY locomotive, clock ORDER BY moment)
), plain AS (  -- one value alone above or below both its neighbours, which themselves rise
    SELECT locomotive, clock, moment, raw, most_a_day FROM beside
    WHERE NOT coalesce(after >= before AND (raw < before OR raw > after), false)
), again AS (
    SELECT *, lag(raw) OVER w AS before, lag(moment) OVER w AS before_at, lead(raw) OVER w AS after
    FROM plain WINDOW w AS (PARTITION BY locomotive, clock ORDER BY moment)
), turned AS (  -- a new counter starts near zero and goes on rising
    SELECT *, coalesce(raw < before AND after >= raw
        AND raw <= most_a_day * ((epoch_us(moment) - epoch_us(before_at)) / 86400e6 + 5), false) AS reset
    FROM again
), numbered AS (
    SELECT *, sum(reset::INTEGER) OVER (PARTITION BY locomotive, clock ORDER BY moment) AS counter FROM turned
), kept AS (  -- what else goes backwards on one counter is no reading at all
    SELECT * FROM numbered
    QUALIFY raw >= max(raw) OVER (PARTITION BY locomotive, clock, counter ORDER BY moment)
), stepped AS (
    SELECT *, raw - coalesce(lag(raw) OVER (PARTITION BY locomotive, clock, counter ORDER BY moment), 0) AS step
    FROM kept
)
SELECT locomotive, bucket, clock, moment,
    sum(step) OVER (PARTITION BY locomotive, clock ORDER BY moment ROWS UNBOUNDED PRECEDING)::BIGINT AS value,
    CASE clock WHEN 'hours' THEN raw / 10 ELSE raw END::DOUBLE AS raw, reset
FROM stepped JOIN h_record USING (locomotive);
