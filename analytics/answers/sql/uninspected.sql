-- One row = the number of locomotive-days in use within the period on which no inspection was handed
-- in, over locomotives that hand in inspections at all, and the number of those that hand in none.
-- Counted as all days, less those out of use, less those in use with an inspection.
WITH record AS (
    SELECT *, row_number() OVER (ORDER BY locomotive) AS number, greatest(begins_at, $since)::DATE AS first_day,
        (least(ends_at, $until) + INTERVAL 1 DAY)::DATE - 1 AS last_day
    FROM asked_record WHERE begins_at IS NOT NULL AND {kept}
), watched AS (
    SELECT locomotive, number, first_day, last_day FROM record
    WHERE inspections > 0 AND ends_at >= $since AND begins_at < $until
), idle AS (
    SELECT DISTINCT number, unnest(range(greatest(from_at::DATE, first_day),
        least(coalesce(to_at::DATE, last_day), last_day) + INTERVAL 1 DAY, INTERVAL 1 DAY))::DATE AS day
    FROM ({out_of_use}) JOIN watched USING (locomotive)
), seen AS (
    SELECT DISTINCT number, inspected_at::DATE AS day
    FROM ({inspections}) JOIN watched USING (locomotive) WHERE inspected_at::DATE BETWEEN first_day AND last_day
)
SELECT (SELECT coalesce(sum(last_day - first_day + 1), 0) FROM watched WHERE last_day >= first_day)
        - (SELECT count(*) FROM idle)
        - (SELECT count(*) FROM seen ANTI JOIN idle USING (number, day)) AS days,
    (SELECT count(*) FROM record WHERE inspections = 0) AS never
