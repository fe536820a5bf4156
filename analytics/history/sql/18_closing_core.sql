-- h_closing_core: one row = one closing of one episode, with the instant after which its position can
-- no longer be followed: the next renewal by plan, the next pause, the end of the record.
CREATE OR REPLACE TEMP TABLE h_closing_core AS
WITH next_renewal AS (
    SELECT e.episode, min(w.done_at) AS moment
    FROM h_episode_linked AS e JOIN h_renewal AS w
        ON w.locomotive = e.locomotive AND w.component = e.component AND w.place = e.place
        AND w.done_at > e.closed_at
    GROUP BY e.episode
)
SELECT e.episode, e.locomotive, r.bucket, e.class, e.component, e.position, e.defect, e.depot, e.rank,
    e.effect, e.action, e.blank_action, e.closed_at, e.closed_timed, t.to_at IS NOT NULL AS observed,
    greatest(e.closed_at, least(n.moment, coalesce(t.to_at, e.closed_at), r.ends_at)) AS censored_at
FROM h_episode_linked AS e
JOIN h_record AS r USING (locomotive)
LEFT JOIN next_renewal AS n USING (episode)
LEFT JOIN (
    SELECT c.episode, max(s.to_at) AS to_at
    FROM h_episode_linked AS c JOIN h_stretch AS s ON s.rule = 'at-risk' AND s.locomotive = c.locomotive
        AND c.closed_at BETWEEN s.from_at AND s.to_at
    GROUP BY c.episode) AS t USING (episode)
WHERE e.closed_at IS NOT NULL;
