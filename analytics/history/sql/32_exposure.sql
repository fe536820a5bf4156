-- history.exposure: one row = one stretch at risk within one month at one depot, with the counters at
-- both ends (NULL where a counter is not known over the stretch).
INSERT INTO history.exposure
SELECT x.locomotive, x.bucket, x.class, x.depot, x.month, x.from_at, x.to_at,
    CASE WHEN NOT hours_hole THEN f.hours END, CASE WHEN NOT hours_hole THEN t.hours END,
    CASE WHEN NOT km_hole THEN f.km END, CASE WHEN NOT km_hole THEN t.km END,
    coalesce(t.estimated, false)
FROM (
    SELECT c.*,
        EXISTS (FROM h_hole AS h WHERE h.clock = 'hours' AND h.locomotive = c.locomotive
            AND h.from_at <= c.from_at AND h.to_at >= c.to_at) AS hours_hole,
        EXISTS (FROM h_hole AS h WHERE h.clock = 'km' AND h.locomotive = c.locomotive
            AND h.from_at <= c.from_at AND h.to_at >= c.to_at) AS km_hole
    FROM h_exposure_core AS c) AS x
LEFT JOIN instant_clock AS f ON f.locomotive = x.locomotive AND f.moment = x.from_at
LEFT JOIN instant_clock AS t ON t.locomotive = x.locomotive AND t.moment = x.to_at
ORDER BY x.locomotive, x.from_at;
