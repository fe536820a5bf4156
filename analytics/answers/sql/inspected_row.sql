-- One row = one depot and month with an inspection, all teams together (team empty), or what one team
-- of it wrote, over the same inspections: which team inspected is written for no inspection.
WITH missed AS (
    SELECT id, count(*) AS missed FROM asked_missed GROUP BY id
), inspected AS (
    SELECT i.depot, i.month, count(*) AS inspections, coalesce(sum(m.missed), 0)::BIGINT AS missed,
        bool_or(i.late) AS late
    FROM asked_inspection AS i LEFT JOIN missed AS m USING (id) WHERE {depot_kept} GROUP BY i.depot, i.month
), written AS (
    SELECT i.depot, i.month, w.team, count(*) AS findings
    FROM asked_written AS w JOIN asked_inspection AS i USING (id) WHERE w.asked GROUP BY i.depot, i.month, w.team
), every AS (
    SELECT depot, month, sum(findings) AS findings,
        sum(findings) FILTER (team <> '') > 0 AND coalesce(sum(findings) FILTER (team = ''), 0) > 0 AS some_nameless
    FROM written GROUP BY depot, month
)
SELECT depot, '' AS team, month, inspections, coalesce(findings, 0)::BIGINT AS findings, missed, late,
    coalesce(some_nameless, false) AS some_nameless
FROM inspected LEFT JOIN every USING (depot, month)
UNION ALL
SELECT depot, team, month, inspections, findings::BIGINT, NULL, false, false
FROM inspected JOIN written USING (depot, month) WHERE team <> ''
ORDER BY depot, month, team
