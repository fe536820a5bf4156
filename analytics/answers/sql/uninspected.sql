-- One row = the number of locomotive-days in use within the period on which no inspection was handed
-- in, over locomotives that hand in inspections at all, and the number of those that hand in none.
WITH record AS (
    SELECT * FROM asked_record WHERE begins_at IS NOT NULL AND {kept}
), day AS (
    SELECT locomotive, unnest(range(greatest(begins_at, $since)::DATE,
        (least(ends_at, $until) + INTERVAL 1 DAY)::DATE, INTERVAL 1 DAY))::DATE AS day
    FROM record WHERE inspections > 0 AND ends_at >= $since AND begins_at < $until
), in_use AS (
    SELECT d.* FROM day AS d ANTI JOIN ({out_of_use}) AS o
        ON o.locomotive = d.locomotive AND d.day BETWEEN o.from_at::DATE AND coalesce(o.to_at, d.day)::DATE
), seen AS (
    SELECT DISTINCT locomotive, inspected_at::DATE AS day FROM ({inspections})
)
SELECT (SELECT count(*) FROM in_use ANTI JOIN seen USING (locomotive, day)) AS days,
    (SELECT count(*) FROM record WHERE inspections = 0) AS never
