-- asked_written: one row = one finding in force that was not found in service, within record and period,
-- with the inspection nearest to it on its day (`id` NULL: there was none); `asked`: it fits the filters.
WITH finding AS (
    SELECT f.locomotive, f.found_at, f.component, coalesce(f.team, '') AS team, {asked} AS asked,
        row_number() OVER (ORDER BY f.batch, f.file, f.row_number) AS number
    FROM ({findings}) AS f JOIN asked_record AS r USING (locomotive)
    WHERE f.severity IS DISTINCT FROM 'in-service' AND f.found_at BETWEEN r.begins_at AND r.ends_at
        AND f.found_at >= $since AND f.found_at < $until
), nearest AS (
    SELECT f.number, arg_min(i.id, (abs(epoch_us(i.inspected_at) - epoch_us(f.found_at)), i.id)) AS id
    FROM finding AS f JOIN asked_inspection AS i
        ON i.locomotive = f.locomotive AND i.inspected_at::DATE = f.found_at::DATE
    GROUP BY f.number
)
SELECT f.locomotive, f.component, f.team, f.asked, n.id FROM finding AS f LEFT JOIN nearest AS n USING (number)
