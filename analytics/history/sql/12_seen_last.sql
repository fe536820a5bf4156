-- h_seen_last: one row = one component of one locomotive with the last instant of the record at which
-- it was seen; a locomotive without any inspection that sees it is known to its record's end.
CREATE OR REPLACE TEMP TABLE h_seen_last AS
WITH inspected AS (
    SELECT i.locomotive, i.kind, max(i.inspected_at) AS moment
    FROM f_inspections AS i JOIN h_record AS r USING (locomotive)
    WHERE i.inspected_at BETWEEN r.begins_at AND r.ends_at GROUP BY i.locomotive, i.kind
), found AS (
    SELECT locomotive, component, max(found_at) AS moment FROM h_finding GROUP BY locomotive, component
)
SELECT r.locomotive, c.component, max(i.moment) IS NOT NULL AS inspected,
    CASE WHEN max(i.moment) IS NULL THEN any_value(r.ends_at)
        ELSE greatest(max(i.moment), any_value(f.moment)) END AS seen_at
FROM h_record AS r
JOIN cat_class_component AS p ON p.class = r.class AND p.positions > 0
JOIN cat_component AS c USING (component)
LEFT JOIN inspected AS i ON i.locomotive = r.locomotive AND list_contains(c.seen_by, i.kind)
LEFT JOIN found AS f ON f.locomotive = r.locomotive AND f.component = c.component
WHERE r.begins_at IS NOT NULL
GROUP BY r.locomotive, c.component;
