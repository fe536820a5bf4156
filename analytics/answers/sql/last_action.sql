-- One row = one position with what was done last to it before the period's end: a closing, or work.
WITH done AS (
    SELECT locomotive, component, position, closed_at AS moment, action, 0 AS turn, episode AS number
    FROM {closing} WHERE position IS NOT NULL AND action IS NOT NULL
    UNION ALL
    SELECT w.locomotive, w.component, unnest(positions_of(w.position, p.positions))::INTEGER, w.done_at, w.action, 1,
        w.batch * 1000000000 + w.row_number
    FROM ({work}) AS w JOIN asked_record AS r USING (locomotive)
    JOIN asked_place AS p ON p.class = r.class AND p.component = w.component
)
SELECT locomotive, component, position, arg_max(action, (moment, turn, number)) AS last_action,
    max(moment) AS last_date
FROM done SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (component)
WHERE moment < $until GROUP BY locomotive, component, position
