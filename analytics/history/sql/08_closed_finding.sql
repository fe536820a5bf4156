-- h_closed_finding: one row = one finding with the instant at which it was closed in fact: by itself,
-- else by the next effective action on its position and defect, or a renewal by planned work
-- (NULL: still open).
CREATE OR REPLACE TEMP TABLE h_closed_finding AS
WITH by_action AS (
    SELECT o.locomotive, o.component, o.place, o.defect, o.turn,
        arg_min(struct_pack(moment := f.own_closed_at, timed := f.own_closed_timed, action := f.action,
            effect := coalesce(f.effect, 'checked'), condition_in := f.condition_in, age_in := f.age_in),
            (f.own_closed_at, f.turn)) AS done
    FROM h_finding AS o JOIN h_finding AS f
        ON f.locomotive = o.locomotive AND f.component = o.component AND f.place = o.place
        AND f.defect = o.defect AND f.own_closed_at >= o.found_at
    WHERE o.own_closed_at IS NULL
    GROUP BY o.locomotive, o.component, o.place, o.defect, o.turn
), by_work AS (
    SELECT o.locomotive, o.component, o.place, o.defect, o.turn,
        arg_min(struct_pack(moment := w.done_at, timed := w.done_timed, action := w.action,
            effect := 'renew', condition_in := w.condition_in, age_in := w.age_in), w.done_at) AS done
    FROM h_finding AS o JOIN h_renewal AS w
        ON w.locomotive = o.locomotive AND w.component = o.component AND w.place = o.place
        AND w.done_at >= o.found_at
    WHERE o.own_closed_at IS NULL
    GROUP BY o.locomotive, o.component, o.place, o.defect, o.turn
), joined AS (
    SELECT f.*, CASE
        WHEN f.own_closed_at IS NOT NULL THEN struct_pack(moment := f.own_closed_at,
            timed := f.own_closed_timed, action := f.action, effect := coalesce(f.effect, 'checked'),
            condition_in := f.condition_in, age_in := f.age_in)
        WHEN w.done.moment IS NULL OR a.done.moment <= w.done.moment THEN a.done ELSE w.done END AS done,
        f.own_closed_at IS NULL AND w.done.moment IS NOT NULL
            AND (a.done.moment IS NULL OR w.done.moment < a.done.moment) AS by_work
    FROM h_finding AS f
    LEFT JOIN by_action AS a USING (locomotive, component, place, defect, turn)
    LEFT JOIN by_work AS w USING (locomotive, component, place, defect, turn)
)
SELECT * EXCLUDE (done), done.moment AS closed_at, done.timed AS closed_timed, done.action AS closing_action,
    done.effect AS closing_effect, done.condition_in AS closing_condition, done.age_in AS closing_age
FROM joined;
