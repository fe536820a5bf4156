-- h_life_piece: one row = one stretch at risk (entry, exit] of one life: a life that is interrupted by
-- an out-of-use stretch has several; only the last can end in its failure.
CREATE OR REPLACE TEMP TABLE h_life_piece AS
WITH cut AS (
    SELECT l.* EXCLUDE (entry_at, exit_at, lower_at), l.exit_at AS life_exit_at, l.lower_at AS life_lower_at,
        greatest(l.entry_at, t.from_at) AS entry_at, least(l.exit_at, t.to_at) AS exit_at
    FROM h_life_core AS l JOIN h_stretch AS t ON t.rule = 'in-use' AND t.locomotive = l.locomotive
        AND t.from_at < l.exit_at AND t.to_at > l.entry_at
)
SELECT counting, c.locomotive, bucket, class, d.depot, component, place AS position, life::INTEGER AS life,
    row_number() OVER (PARTITION BY counting, c.locomotive, component, place, life ORDER BY entry_at)::INTEGER
        AS piece,
    start_at, start_known, start_age, entry_at, exit_at,
    exit_at = life_exit_at AND end_kind = 'failure' AS failed,
    CASE WHEN exit_at = life_exit_at THEN end_kind ELSE 'pause' END AS end_kind,
    CASE WHEN exit_at = life_exit_at AND end_kind = 'failure'
        THEN greatest(entry_at, coalesce(life_lower_at, entry_at)) ELSE exit_at END AS lower_at,
    CASE WHEN exit_at = life_exit_at AND end_kind = 'failure' THEN defect END AS defect,
    CASE WHEN exit_at = life_exit_at AND end_kind = 'failure' THEN action END AS action,
    inspected,
    start_known AND life = min(CASE WHEN start_known THEN life END) OVER (
        PARTITION BY counting, c.locomotive, component, place) AS first_known
FROM cut AS c LEFT JOIN h_depot_span AS d ON d.locomotive = c.locomotive
    AND c.exit_at >= d.from_at AND c.exit_at < d.to_at;
