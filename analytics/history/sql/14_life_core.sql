-- h_life_core: one row = one life under one counting rule: from one mark of its position to the next.
-- A life of zero length is not a life.
CREATE OR REPLACE TEMP TABLE h_life_core AS
WITH paired AS (
    SELECT m.*, lead(m.ends_as) OVER after AS next_ends_as, lead(m.exit_at) OVER after AS next_exit_at,
        lead(m.episode) OVER after AS next_episode, lead(m.first_rank) OVER after AS next_first_rank,
        lead(m.defect) OVER after AS next_defect, lead(m.action) OVER after AS next_action
    FROM h_mark AS m
    WINDOW after AS (PARTITION BY counting, locomotive, component, place ORDER BY moment, turn)
), bounded AS (
    SELECT p.counting, p.locomotive, r.bucket, r.class, p.component, p.place, r.begins_at,
        p.kind = 'begin' AND c.in_service AND r.first_life_known AS from_service,
        CASE WHEN p.kind = 'begin' AND c.in_service AND r.first_life_known
            THEN r.in_service_from ELSE p.moment END AS start_at,
        CASE p.kind WHEN 'begin' THEN c.in_service AND r.first_life_known
            WHEN 'break' THEN false
            ELSE coalesce(p.condition_in, 'new') IN ('new', 'overhauled')
                OR (p.condition_in = 'used' AND p.age_in IS NOT NULL) END AS start_known,
        CASE WHEN p.condition_in = 'used' THEN coalesce(p.age_in, 0) ELSE 0 END AS start_age,
        coalesce(p.next_ends_as, 'end') AS end_kind,
        CASE WHEN p.next_ends_as IS NULL THEN s.seen_at ELSE p.next_exit_at END AS exit_at,
        p.next_episode AS episode, p.next_first_rank AS first_rank, p.next_defect AS defect,
        p.next_action AS action, s.inspected
    FROM paired AS p
    JOIN h_record AS r USING (locomotive)
    JOIN cat_component AS c USING (component)
    JOIN h_seen_last AS s USING (locomotive, component)
)
SELECT b.*, greatest(b.start_at, b.begins_at) AS entry_at,
    CASE WHEN b.end_kind <> 'failure' OR b.first_rank = 4 OR NOT b.inspected THEN b.exit_at
        ELSE greatest(b.start_at, l.seen_at) END AS lower_at,
    row_number() OVER (PARTITION BY counting, locomotive, component, place ORDER BY start_at) AS life
FROM bounded AS b LEFT JOIN h_last_seen AS l USING (episode)
WHERE b.exit_at > greatest(b.start_at, b.begins_at);
