-- h_renewal: one row = one renewal by planned work of one position (place 0 = position not stated).
CREATE OR REPLACE TEMP TABLE h_renewal AS
WITH placed AS (
    SELECT w.*, unnest(positions_of(w.position, c.positions)) AS at_place
    FROM f_work AS w
    JOIN h_record AS r USING (locomotive)
    JOIN cat_class_component AS c ON c.class = r.class AND c.component = w.component
    JOIN cat_action AS a ON a.action = w.action AND a.effect = 'renew'
    WHERE w.done_at BETWEEN r.begins_at AND r.ends_at
)
SELECT locomotive, component, coalesce(at_place, 0)::INTEGER AS place, done_at,
    bool_or(done_timed) AS done_timed, min(action) AS action,
    max(condition_in) AS condition_in, max(age_in) AS age_in
FROM placed GROUP BY locomotive, component, coalesce(at_place, 0), done_at;
