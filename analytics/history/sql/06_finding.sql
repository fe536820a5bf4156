-- h_finding: one row = one finding at one position (a list of positions becomes several rows;
-- position NULL = not stated), with severity as a rank, the effect of its action and the instant at
-- which it closed by itself (NULL: deferred or without action, so it stays open).
CREATE OR REPLACE TEMP TABLE h_finding AS
WITH placed AS (
    SELECT f.*, r.bucket AS record_bucket, r.class,
        unnest(positions_of(f.position, c.positions)) AS place, a.effect
    FROM f_findings AS f
    JOIN h_record AS r USING (locomotive)
    JOIN cat_class_component AS c ON c.class = r.class AND c.component = f.component
    LEFT JOIN cat_action AS a USING (action)
    WHERE f.found_at BETWEEN r.begins_at AND r.ends_at
), read AS (
    SELECT *, CASE severity WHEN 'remark' THEN 1 WHEN 'rectify' THEN 2 WHEN 'withhold' THEN 3
            WHEN 'in-service' THEN 4
            ELSE CASE WHEN effect IN ('renew', 'restore') THEN 2 ELSE 1 END END AS rank,
        CASE WHEN effect = 'defer' THEN NULL
            WHEN effect IS NULL THEN closed_at  -- closed, but how was not written
            ELSE coalesce(closed_at, found_at) END AS own_closed_at
    FROM placed
)
SELECT locomotive, class, component, place::INTEGER AS position, coalesce(place, 0)::INTEGER AS place,
    defect, found_at, found_timed, rank::SMALLINT AS rank, effect, action, own_closed_at,
    CASE WHEN closed_at IS NULL THEN found_timed ELSE closed_timed END AS own_closed_timed,
    action IS NULL AS blank_action, severity IS NULL AS blank_severity,
    down_hours, labour_hours, cost, condition_in, age_in,
    row_number() OVER (PARTITION BY locomotive, component, place, defect
        ORDER BY found_at, own_closed_at NULLS FIRST, rank, action NULLS FIRST, finding_id NULLS FIRST,
            batch, file, row_number) AS turn
FROM read;
