-- h_stretch: one row = one stretch [from_at, to_at] of one locomotive's record under one rule:
-- `at-risk` is the record less every pause, `in-use` the record less out-of-use alone.
CREATE OR REPLACE TEMP TABLE h_stretch AS
WITH pauses AS (
    SELECT 'at-risk' AS rule, locomotive, from_at, to_at FROM h_pause
    UNION ALL SELECT 'in-use', locomotive, from_at, to_at FROM h_pause WHERE kind = 'out-of-use'
), edges AS (  -- the two ends of the record close it off like pauses of no length
    SELECT rule, locomotive, begins_at AS from_at, begins_at AS to_at
        FROM h_record CROSS JOIN (VALUES ('at-risk'), ('in-use')) AS v (rule) WHERE begins_at IS NOT NULL
    UNION ALL FROM pauses
    UNION ALL SELECT rule, locomotive, ends_at, ends_at
        FROM h_record CROSS JOIN (VALUES ('at-risk'), ('in-use')) AS v (rule) WHERE begins_at IS NOT NULL
), ordered AS (
    SELECT rule, locomotive, from_at,
        max(to_at) OVER (PARTITION BY rule, locomotive ORDER BY from_at, to_at
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS resumed_at
    FROM edges
)
SELECT rule, locomotive, resumed_at AS from_at, from_at AS to_at
FROM ordered JOIN h_record AS r USING (locomotive)
WHERE resumed_at < from_at OR (resumed_at = from_at AND r.begins_at = r.ends_at);
