-- One row = one locomotive at one depot, with its inspections there and the findings written at them.
WITH written AS (
    SELECT id, count(*) AS findings FROM asked_written WHERE asked GROUP BY id
)
SELECT i.depot, i.locomotive, count(*) AS inspections, coalesce(sum(w.findings), 0)::BIGINT AS findings
FROM asked_inspection AS i LEFT JOIN written AS w USING (id) WHERE {depot_kept}
GROUP BY i.depot, i.locomotive ORDER BY i.depot, i.locomotive
