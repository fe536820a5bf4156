-- asked_span: one row = one span for which one locomotive was down for one reason: a withhold or
-- in-service finding, a withheld inspection, a job by plan. to_at NULL: no end is known; `state` tells
-- whether it is still open or only its length was not written.
WITH record AS (
    SELECT locomotive, begins_at, ends_at FROM asked_record WHERE begins_at IS NOT NULL
), inspection AS (
    SELECT i.locomotive, i.inspected_at, i.outcome FROM ({inspections}) AS i JOIN record AS r USING (locomotive)
    WHERE i.inspected_at BETWEEN r.begins_at AND least(r.ends_at, $until)
), grave AS (
    SELECT f.*, a.effect, row_number() OVER (ORDER BY f.batch, f.file, f.row_number) AS id,
        coalesce(a.effect IN ('renew', 'restore', 'checked'), f.closed_at IS NOT NULL) AS own
    FROM ({findings}) AS f JOIN record AS r USING (locomotive) LEFT JOIN asked_action AS a USING (action)
    WHERE f.severity IN ('withhold', 'in-service') AND {kept}
        AND f.found_at BETWEEN r.begins_at AND least(r.ends_at, $until)
), later AS (  -- what was put off, or has nothing written, closes with its episode
    SELECT g.id, max(e.closed_at) AS closed_at, arg_max(e.closed_timed, e.closed_at) AS closed_timed,
        bool_or(e.closed_at IS NULL) AS still
    FROM grave AS g JOIN {episode} AS e ON e.locomotive = g.locomotive AND e.component = g.component
        AND e.defect = g.defect AND g.found_at BETWEEN e.found_at AND coalesce(e.closed_at, 'infinity'::TIMESTAMP)
        AND CASE WHEN g.position IS NULL THEN coalesce(e.position, 1) = 1
            ELSE coalesce(try_cast(g.position AS INTEGER) = e.position, true) END
    WHERE NOT g.own GROUP BY g.id
), finding AS (
    SELECT g.id, g.locomotive, g.component, g.defect, g.found_at, g.found_timed, coalesce(g.down_hours, 0) AS down_hours,
        CASE WHEN g.own THEN g.closed_at WHEN NOT l.still THEN l.closed_at END AS closed_at,
        coalesce(CASE WHEN g.own THEN g.closed_timed ELSE l.closed_timed END, false) AS closed_timed,
        g.own OR coalesce(NOT l.still, false) AS settled
    FROM grave AS g LEFT JOIN later AS l USING (id)
), opener AS (  -- without a time of day, only a later day's inspection releases it
    SELECT 'finding' AS kind, id, locomotive, found_at AS from_at,
        CASE WHEN found_timed THEN found_at ELSE found_at + INTERVAL 86399999999 MICROSECOND END AS after FROM finding
    UNION ALL SELECT 'inspection', row_number() OVER (ORDER BY locomotive, inspected_at), locomotive, inspected_at,
        inspected_at FROM (SELECT DISTINCT locomotive, inspected_at FROM inspection WHERE outcome = 'withheld')
), released AS (
    SELECT o.*, i.inspected_at AS released_at
    FROM opener AS o ASOF LEFT JOIN (
        FROM inspection WHERE outcome IN ('released', 'released-with-remark')
    ) AS i ON i.locomotive = o.locomotive AND i.inspected_at > o.after
), by_finding AS (
    SELECT f.*, CASE WHEN closed_timed AND closed_at > found_at THEN least(closed_at, released_at)
        WHEN down_hours > 0
            THEN least(found_at + to_microseconds(round(down_hours * 3600e6)::BIGINT), released_at)
        WHEN closed_at::DATE > found_at::DATE THEN least(closed_at, released_at)
        WHEN closed_at IS NULL OR released_at::DATE = found_at::DATE THEN released_at END AS to_at
    FROM finding AS f JOIN released AS r ON r.kind = 'finding' AND r.id = f.id
), made_good AS (  -- when all that was found at one instant was closed, whatever its severity
    SELECT locomotive, found_at, max(closed_at) AS closed_at FROM {episode} SEMI JOIN record USING (locomotive)
    GROUP BY locomotive, found_at
    HAVING count(closed_at) = count(*) AND max(closed_at) > found_at AND arg_max(closed_timed, closed_at)
), by_inspection AS (  -- what was found at it, or is still open, says more, where its length is known
    SELECT r.locomotive, r.from_at, least(r.released_at, m.closed_at) AS to_at, EXISTS (FROM ({work}) AS w
            WHERE w.locomotive = r.locomotive 
                AND w.done_at BETWEEN r.from_at AND least(r.released_at, $until)) AS job
    FROM released AS r LEFT JOIN made_good AS m ON m.locomotive = r.locomotive AND m.found_at = r.from_at
    WHERE r.kind = 'inspection' AND {whole} AND NOT EXISTS (FROM by_finding AS f
        WHERE f.locomotive = r.locomotive AND (f.to_at IS NOT NULL OR NOT f.settled) AND f.found_at <= r.from_at
            AND (f.found_at = CASE WHEN f.found_timed THEN r.from_at ELSE r.from_at::DATE END
                OR coalesce(f.to_at, 'infinity'::TIMESTAMP) > r.from_at))
)
SELECT locomotive, 'finding' AS kind, found_at AS from_at, to_at, component, defect,
    CASE WHEN to_at IS NOT NULL THEN 'closed' WHEN settled THEN 'unmeasured' ELSE 'open' END AS state
FROM by_finding
UNION ALL
SELECT locomotive, CASE WHEN job THEN 'work' ELSE 'inspection' END, from_at, to_at, NULL, NULL,
    CASE WHEN to_at IS NULL THEN 'open' ELSE 'closed' END
FROM by_inspection
UNION ALL  -- a job lasts as long as one fitter would take
SELECT w.locomotive, 'work', w.done_at, w.done_at + to_microseconds(round(w.labour_hours * 3600e6)::BIGINT), w.component,
    NULL, CASE WHEN w.labour_hours > 0 THEN 'closed' ELSE 'unmeasured' END
FROM ({work}) AS w JOIN record AS r USING (locomotive)
WHERE {job_kept} AND w.done_at BETWEEN r.begins_at AND least(r.ends_at, $until)
