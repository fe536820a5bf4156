-- One row = the locomotive-days in use within the period, and how many of them are not at risk because
-- no inspection lies near enough: the record, less what was out of use, less the exposure.
WITH record AS (
    SELECT locomotive, greatest(begins_at, $since) AS from_at, least(ends_at, $until) AS to_at
    FROM asked_record WHERE inspections > 0 AND ends_at > $since AND begins_at < $until
), idle AS (
    SELECT locomotive, greatest(o.from_at, r.from_at) AS from_at,
        least(coalesce(o.to_at, r.to_at), r.to_at) AS to_at
    FROM ({out_of_use}) AS o JOIN record AS r USING (locomotive)
), apart AS (  -- rows that overlap count once
    SELECT *, max(to_at) OVER (PARTITION BY locomotive ORDER BY from_at, to_at
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS reached
    FROM idle WHERE from_at < to_at
), told AS (
    SELECT to_at, from_at, 1 AS in_use, 0 AS seen FROM record
    UNION ALL SELECT to_at, greatest(from_at, reached), -1, 0 FROM apart WHERE reached IS NULL OR to_at > reached
    UNION ALL SELECT least(x.to_at, $until), greatest(x.from_at, $since), 0, 1
        FROM {exposure} AS x SEMI JOIN record USING (locomotive) WHERE x.to_at > $since AND x.from_at < $until
), lasting AS (
    SELECT in_use, seen, (epoch_us(to_at) - epoch_us(from_at)) / 86400e6 AS days FROM told
)
SELECT coalesce(sum(in_use * days), 0) AS days, coalesce(sum((in_use - seen) * days), 0) AS unseen FROM lasting
