-- h_record: one row = one locomotive on the register, with the stretch over which it was observed.
-- Records begin at records_from, else at the earliest row that tells of findings (a usage row does
-- not); they end at in_service_to, else at the last instant up to which findings are known.
CREATE OR REPLACE TEMP TABLE h_record AS
WITH told AS (
    SELECT locomotive, inspected_at AS moment, true AS of_findings FROM f_inspections
    UNION ALL SELECT locomotive, found_at, true FROM f_findings
    UNION ALL SELECT locomotive, done_at, true FROM f_work
    UNION ALL SELECT locomotive, read_at, false FROM f_readings
), told_span AS (
    SELECT locomotive, min(moment) AS first_at, max(moment) FILTER (of_findings) AS last_at
    FROM told GROUP BY locomotive
), covered AS (
    SELECT locomotive, max(covered_until) AS covered_until FROM f_coverage GROUP BY locomotive
), bounds AS (
    SELECT l.*, coalesce(l.records_from, t.first_at) AS records_begin,
        greatest(l.in_service_from, coalesce(l.records_from, t.first_at)) AS begin_known,
        coalesce(l.in_service_to, greatest(t.last_at, c.covered_until)) AS end_known
    FROM f_locomotives AS l
    LEFT JOIN told_span AS t USING (locomotive) LEFT JOIN covered AS c USING (locomotive)
), observed AS (
    SELECT *, CASE WHEN end_known >= begin_known AND records_begin IS NOT NULL THEN begin_known END AS begins_at,
        CASE WHEN end_known >= begin_known AND records_begin IS NOT NULL THEN end_known END AS ends_at
    FROM bounds
), intervals AS (  -- rows outside the record are no history
    SELECT locomotive, inspected_at,
        epoch_us(inspected_at) - epoch_us(lag(inspected_at) OVER (
            PARTITION BY locomotive ORDER BY inspected_at)) AS since_last
    FROM (SELECT DISTINCT locomotive, inspected_at FROM f_inspections JOIN observed USING (locomotive)
        WHERE inspected_at BETWEEN begins_at AND ends_at)
), rhythm AS (
    SELECT locomotive, count(*) AS inspections, median(since_last) / 86400e6 AS median_interval_days
    FROM intervals GROUP BY locomotive
)
SELECT locomotive, bucket, class, depot, in_service_from, in_service_to, records_begin, begins_at, ends_at,
    coalesce(records_begin <= in_service_from + to_days($grace_days), false) AS first_life_known,
    coalesce(inspections, 0) AS inspections, median_interval_days,
    engine_hours_at_start, km_at_start
FROM observed LEFT JOIN rhythm USING (locomotive);
