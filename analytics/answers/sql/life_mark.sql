-- One row = one life in scope under its counting rule, with the defect that ended it (NULL: none
-- did) and the action that began it (NULL: no renewal on record, or none written).
WITH renewed AS (
    SELECT locomotive, component, position, closed_at AS moment, action
    FROM {closing} WHERE position IS NOT NULL AND effect = 'renew'
    UNION ALL
    SELECT w.locomotive, w.component, unnest(positions_of(w.position, p.positions))::INTEGER, w.done_at, w.action
    FROM ({work}) AS w JOIN asked_record AS r USING (locomotive)
    JOIN asked_place AS p ON p.class = r.class AND p.component = w.component
    JOIN asked_renewal USING (action)
), began AS (
    SELECT locomotive, component, position, moment, min(action) AS action FROM renewed GROUP BY ALL
)
SELECT l.locomotive, l.component, l.position, l.life, max(l.defect) AS defect, min(began.action) AS action
FROM {life} AS l SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
LEFT JOIN began ON began.locomotive = l.locomotive AND began.component = l.component
    AND began.position = l.position AND began.moment = l.start_at
WHERE l.counting = '{counting}'
GROUP BY l.locomotive, l.component, l.position, l.life
