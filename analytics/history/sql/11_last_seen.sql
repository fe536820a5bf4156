-- h_last_seen: one row = one renewing episode with the latest earlier instant at which its component
-- was seen on that locomotive: an inspection of a kind that sees it, or a finding of it.
CREATE OR REPLACE TEMP TABLE h_last_seen AS
WITH asked AS (
    SELECT DISTINCT locomotive, found_at AS moment FROM h_episode_linked WHERE effect = 'renew'
), told AS (  -- an instant asked about sorts before an inspection at that instant: strictly earlier
    SELECT locomotive, moment, 0 AS turn, NULL AS kind FROM asked
    UNION ALL SELECT locomotive, inspected_at, 1, kind FROM f_inspections
), inspected AS (
    SELECT locomotive, moment, turn,
        max(CASE WHEN kind = 'daily' THEN moment END) OVER earlier AS daily,
        max(CASE WHEN kind = 'workshop' THEN moment END) OVER earlier AS workshop,
        max(CASE WHEN kind = 'en-route' THEN moment END) OVER earlier AS en_route
    FROM told
    WINDOW earlier AS (PARTITION BY locomotive ORDER BY moment, turn ROWS UNBOUNDED PRECEDING)
), found AS (
    SELECT locomotive, component, found_at,
        lag(found_at) OVER (PARTITION BY locomotive, component ORDER BY found_at) AS earlier
    FROM (SELECT DISTINCT locomotive, component, found_at FROM h_finding)
)
SELECT e.episode, greatest(
    CASE WHEN list_contains(c.seen_by, 'daily') THEN i.daily END,
    CASE WHEN list_contains(c.seen_by, 'workshop') THEN i.workshop END,
    CASE WHEN list_contains(c.seen_by, 'en-route') THEN i.en_route END,
    f.earlier) AS seen_at
FROM h_episode_linked AS e
JOIN inspected AS i ON i.turn = 0 AND i.locomotive = e.locomotive AND i.moment = e.found_at
JOIN found AS f ON f.locomotive = e.locomotive AND f.component = e.component AND f.found_at = e.found_at
JOIN cat_component AS c ON c.component = e.component
WHERE e.effect = 'renew';
