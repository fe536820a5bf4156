-- h_exposure_core: one row = one stretch of one locomotive at risk within one calendar month at one
-- depot, cut also where a counter begins or ceases to be known.
CREATE OR REPLACE TEMP TABLE h_exposure_core AS
WITH cuts AS (
    SELECT t.locomotive, t.from_at AS stretch, t.to_at AS stretch_end,
        unnest(range(date_trunc('month', t.from_at) + INTERVAL 1 MONTH, t.to_at, INTERVAL 1 MONTH)) AS moment
        FROM h_stretch AS t WHERE t.rule = 'at-risk'
    UNION SELECT t.locomotive, t.from_at, t.to_at, t.from_at FROM h_stretch AS t WHERE t.rule = 'at-risk'
    UNION SELECT t.locomotive, t.from_at, t.to_at, d.from_at
        FROM h_stretch AS t JOIN h_depot_span AS d USING (locomotive)
        WHERE t.rule = 'at-risk' AND d.from_at > t.from_at AND d.from_at < t.to_at
    UNION SELECT t.locomotive, t.from_at, t.to_at, h.moment
        FROM h_stretch AS t JOIN (
            SELECT locomotive, from_at AS moment FROM h_hole UNION SELECT locomotive, to_at FROM h_hole) AS h
            USING (locomotive)
        WHERE t.rule = 'at-risk' AND h.moment > t.from_at AND h.moment < t.to_at
), pieces AS (
    SELECT locomotive, moment AS from_at, coalesce(lead(moment) OVER (
        PARTITION BY locomotive, stretch ORDER BY moment), stretch_end) AS to_at
    FROM cuts
)
SELECT p.locomotive, r.bucket, r.class, d.depot, date_trunc('month', p.from_at)::DATE AS month,
    p.from_at, p.to_at
FROM pieces AS p JOIN h_record AS r USING (locomotive)
LEFT JOIN h_depot_span AS d ON d.locomotive = p.locomotive AND p.from_at >= d.from_at AND p.from_at < d.to_at
WHERE p.to_at > p.from_at;
