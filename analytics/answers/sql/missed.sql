-- asked_missed: one row = one counted failure found in service within {days} days after an inspection,
-- with that inspection: the last before it of a kind that sees its component. It released the
-- locomotive, and no finding of that component was written at it.
WITH failure AS (
    SELECT e.episode, e.component, arg_max(i.id, (i.inspected_at, i.id)) AS id
    FROM {episode} AS e
    SEMI JOIN asked_place AS p ON p.class = e.class AND p.component = e.component
    JOIN asked_inspection AS i ON i.locomotive = e.locomotive
        AND i.inspected_at < e.found_at AND i.inspected_at >= e.found_at - INTERVAL {days} DAY
    SEMI JOIN asked_seen AS s ON s.component = e.component AND s.kind = i.kind
    WHERE e.first_rank = 4 AND {counted} AND {defect_kept} AND e.found_at < $until
    GROUP BY e.episode, e.component
)
SELECT f.episode, f.component, f.id FROM failure AS f JOIN asked_inspection AS i USING (id)
ANTI JOIN asked_written AS w ON w.id = f.id AND w.component = f.component
WHERE i.outcome IN ('released', 'released-with-remark')
