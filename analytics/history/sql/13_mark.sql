-- h_mark: one row = one instant under one counting rule at which a life of one position begins: the
-- record's begin, a renewal, or a break (a renewal or counted failure whose position was not stated).
-- exit_at is where the life before a renewal ends: when its failure was found.
CREATE OR REPLACE TEMP TABLE h_mark AS
WITH counted AS (
    SELECT v.counting, e.*, CASE v.counting WHEN 'any' THEN true
        WHEN 'rectified' THEN rank >= 2 OR coalesce(effect IN ('renew', 'restore'), false)
        WHEN 'withheld' THEN rank >= 3 ELSE rank = 4 END AS counts
    FROM h_episode_linked AS e CROSS JOIN counting_rule AS v
), failures AS (
    SELECT *, max(closed_at) OVER (PARTITION BY counting, locomotive, component, place
            ORDER BY found_at, closed_at, defect ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS renewed_so_far
    FROM counted WHERE effect = 'renew' AND place > 0 AND counts
), runs AS (
    SELECT *, sum(CASE WHEN renewed_so_far IS NULL OR found_at > renewed_so_far THEN 1 ELSE 0 END) OVER (
            PARTITION BY counting, locomotive, component, place ORDER BY found_at, closed_at, defect) AS run
    FROM failures
), failed AS (  -- failures that overlap: the first one found ends the life, the last renewal begins the next
    SELECT counting, locomotive, component, place, max(closed_at) AS moment, min(found_at) AS exit_at,
        arg_min(struct_pack(episode, first_rank, defect, action), (found_at, -first_rank, defect)) AS first_one,
        arg_max(struct_pack(condition_in, age_in), (closed_at, found_at, defect)) AS fitted
    FROM runs GROUP BY counting, locomotive, component, place, run
), censoring AS (
    SELECT counting, locomotive, component, place, closed_at AS moment, 'renewed-uncounted' AS ends_as, 1 AS turn,
        condition_in, age_in
    FROM counted WHERE effect = 'renew' AND place > 0 AND NOT counts
    UNION ALL
    SELECT counting, locomotive, component, place, done_at, 'renewed-by-plan', 2, condition_in, age_in
    FROM h_renewal CROSS JOIN counting_rule WHERE place > 0
), renewals AS (
    SELECT counting, locomotive, component, place, moment, exit_at, 'failure' AS ends_as, 0 AS turn, unnest(first_one),
        unnest(fitted) FROM failed
    UNION ALL
    SELECT counting, locomotive, component, place, moment, moment, ends_as, turn, NULL, NULL, NULL, NULL,
        condition_in, age_in FROM censoring
), one_renewal AS (  -- what is renewed twice at one instant is renewed once; a counted failure leads
    SELECT DISTINCT ON (counting, locomotive, component, place, moment) *
    FROM renewals ORDER BY counting, locomotive, component, place, moment, turn, condition_in, age_in
), break_at AS (
    SELECT counting, locomotive, component, found_at AS moment FROM counted WHERE place = 0 AND counts
    UNION SELECT counting, locomotive, component, closed_at FROM counted WHERE place = 0 AND effect = 'renew'
    UNION SELECT counting, locomotive, component, done_at
        FROM h_renewal CROSS JOIN counting_rule WHERE place = 0
), positions AS (
    SELECT r.locomotive, r.begins_at, r.ends_at, c.component, unnest(range(1, c.positions + 1))::INTEGER AS place
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
WHERE b.moment <= p.ends_at AND NOT EXISTS (  -- between a failure found and its renewal no life is running
    FROM failed AS n WHERE n.counting = b.counting AND n.locomotive = b.locomotive
        AND n.component = b.component AND n.place = p.place AND b.moment BETWEEN n.exit_at AND n.moment)
UNION ALL
SELECT n.counting, n.locomotive, n.component, n.place, n.moment, 2, 'renewal', n.exit_at, n.ends_as, n.episode,
    n.first_rank, n.defect, n.action, n.condition_in, n.age_in
FROM one_renewal AS n JOIN h_record AS r USING (locomotive)
WHERE n.ends_as = 'failure' OR (n.moment <= r.ends_at AND NOT EXISTS (
    FROM failed AS f WHERE f.counting = n.counting AND f.locomotive = n.locomotive
        AND f.component = n.component AND f.place = n.place AND n.moment BETWEEN f.exit_at AND f.moment));
