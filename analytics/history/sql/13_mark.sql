-- h_mark: one row = one instant under one counting rule at which a life of one position begins: the
-- record's begin, a renewal, or a break (a renewal or counted failure whose position was not stated).
-- exit_at is where the life before a renewal ends: when its failure was found.
CREATE OR REPLACE TEMP TABLE h_mark AS
WITH counted AS (
    SELECT v.counting, e.*, CASE v.counting WHEN 'any' THEN true
        WHEN 'rectified' THEN rank >= 2 OR coalesce(effect IN ('renew', 'restore'), false)
        WHEN 'withheld' THEN rank >= 3 ELSE rank = 4 END AS counts
    FROM h_episode_linked AS e CROSS JOIN counting_rule AS v
), renewals AS (
    SELECT counting, locomotive, component, place, closed_at AS moment, found_at AS exit_at,
        CASE WHEN counts THEN 'failure' ELSE 'renewed-uncounted' END AS ends_as,
        CASE WHEN counts THEN 0 ELSE 1 END AS turn,
        episode, first_rank, defect, action, condition_in, age_in
    FROM counted WHERE effect = 'renew' AND place > 0
    UNION ALL
    SELECT counting, locomotive, component, place, done_at, done_at, 'renewed-by-plan', 2,
        NULL, NULL, NULL, action, condition_in, age_in
    FROM h_renewal CROSS JOIN counting_rule WHERE place > 0
), one_renewal AS (  -- what is renewed twice at one instant is renewed once; a counted failure leads
    SELECT DISTINCT ON (counting, locomotive, component, place, moment) *
    FROM renewals ORDER BY counting, locomotive, component, place, moment, turn, exit_at, defect
), break_at AS (
    SELECT counting, locomotive, component, found_at AS moment FROM counted WHERE place = 0 AND counts
    UNION SELECT counting, locomotive, component, closed_at FROM counted WHERE place = 0 AND effect = 'renew'
    UNION SELECT counting, locomotive, component, done_at
        FROM h_renewal CROSS JOIN counting_rule WHERE place = 0
), positions AS (
    SELECT r.locomotive, r.begins_at, c.component, unnest(range(1, c.positions + 1))::INTEGER AS place
    FROM h_record AS r JOIN cat_class_component AS c ON c.class = r.class
    WHERE r.begins_at IS NOT NULL AND c.positions > 0
)
SELECT counting, locomotive, component, place, begins_at AS moment, 0 AS turn, 'begin' AS kind,
    begins_at AS exit_at, NULL AS ends_as, NULL::BIGINT AS episode, NULL::SMALLINT AS first_rank,
    NULL AS defect, NULL AS action, NULL AS condition_in, NULL::DOUBLE AS age_in
FROM positions CROSS JOIN counting_rule
UNION ALL
SELECT counting, locomotive, component, p.place, b.moment, 1, 'break', b.moment, 'position-not-stated',
    NULL, NULL, NULL, NULL, NULL, NULL
FROM break_at AS b JOIN positions AS p USING (locomotive, component)
WHERE NOT EXISTS (  -- between a failure found and its renewal no life is running
    FROM one_renewal AS n WHERE n.counting = b.counting AND n.locomotive = b.locomotive
        AND n.component = b.component AND n.place = p.place AND n.exit_at < b.moment AND b.moment <= n.moment)
UNION ALL
SELECT counting, locomotive, component, place, moment, 2, 'renewal', exit_at, ends_as, episode, first_rank,
    defect, action, condition_in, age_in
FROM one_renewal;
