-- asked_side: one row = one stretch at risk in scope on one side of its locomotive's own cut, with the
-- clock in ticks; `month` tells the side: 0 before the cut, 1 from it on.
SELECT x.* REPLACE (
    side::VARCHAR AS month,
    CASE WHEN side = 1 THEN greatest(x.from_at, c.moment) ELSE x.from_at END AS from_at,
    CASE WHEN side = 0 THEN least(x.to_at, c.moment) ELSE x.to_at END AS to_at,
    CASE WHEN side = 1 AND x.from_at < c.moment AND x.from_tick IS NOT NULL THEN c.tick
        ELSE x.from_tick END AS from_tick,
    CASE WHEN side = 0 AND x.to_at > c.moment AND x.to_tick IS NOT NULL THEN c.tick
        ELSE x.to_tick END AS to_tick)
FROM asked_exposure AS x JOIN asked_cut AS c USING (locomotive) CROSS JOIN (VALUES (0), (1)) AS s (side)
WHERE CASE side WHEN 0 THEN x.from_at < c.moment ELSE x.to_at > c.moment END
