-- h_episode_linked: one row = one episode with the latest closing of its position before it (any
-- defect, same defect), whether another episode was open then, its depot, and whether it was found
-- while the locomotive was observed. At one instant findings come before closings.
CREATE OR REPLACE TEMP TABLE h_episode_linked AS
WITH told AS (
    SELECT locomotive, component, place, defect, found_at AS moment, 0 AS kind,
        NULL::STRUCT(moment TIMESTAMP, timed BOOLEAN, action VARCHAR) AS closing,
        NULL::TIMESTAMP AS open_until, found_at FROM h_episode_core
    UNION ALL
    SELECT locomotive, component, place, defect, closed_at, 1,
        struct_pack(moment := closed_at, timed := closed_timed, action := action), NULL, found_at
    FROM h_episode_core WHERE closed_at IS NOT NULL
), looked AS (
    SELECT *,
        last_value(closing IGNORE NULLS) OVER (PARTITION BY locomotive, component, place
            ORDER BY moment, kind, defect, found_at ROWS UNBOUNDED PRECEDING) AS prev_any,
        last_value(closing IGNORE NULLS) OVER (PARTITION BY locomotive, component, place, defect
            ORDER BY moment, kind, found_at ROWS UNBOUNDED PRECEDING) AS prev_same
    FROM told
), still AS (  -- the latest closing of all episodes found strictly earlier
    SELECT locomotive, component, place, defect, found_at,
        max(coalesce(closed_at, 'infinity'::TIMESTAMP)) OVER (
            PARTITION BY locomotive, component, place ORDER BY epoch_us(found_at)
            RANGE BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS open_until
    FROM h_episode_core
)
SELECT e.*, d.depot,
    coalesce(s.open_until >= e.found_at, false) AS open_at_found,
    l.prev_any.moment AS prev_any_at, l.prev_any.timed AS prev_any_timed, l.prev_any.action AS prev_any_action,
    l.prev_same.moment AS prev_same_at, l.prev_same.timed AS prev_same_timed,
    l.prev_same.action AS prev_same_action,
    EXISTS (FROM h_stretch AS t WHERE t.rule = 'at-risk' AND t.locomotive = e.locomotive
        AND e.found_at BETWEEN t.from_at AND t.to_at) AS observed,
    ('0x' || left(md5(concat_ws('|', e.locomotive, e.component, e.place, e.defect,
        epoch_us(e.found_at))), 15))::BIGINT AS episode
FROM h_episode_core AS e
JOIN looked AS l ON l.kind = 0 AND l.locomotive = e.locomotive AND l.component = e.component
    AND l.place = e.place AND l.defect = e.defect AND l.found_at = e.found_at
JOIN still AS s ON s.locomotive = e.locomotive AND s.component = e.component AND s.place = e.place
    AND s.defect = e.defect AND s.found_at = e.found_at
LEFT JOIN h_depot_span AS d ON d.locomotive = e.locomotive
    AND e.found_at >= d.from_at AND e.found_at < d.to_at;
