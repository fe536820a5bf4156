-- asked_exposure: one row = one stretch at risk in scope, cut at the ends of the period, with the
-- clock in ticks at both ends (NULL where the counter is not known over the stretch).
SELECT x.locomotive, x.class, coalesce(x.depot, '') AS depot, strftime(x.month, '%Y-%m') AS month,
    greatest(x.from_at, $since) AS from_at, least(x.to_at, $until) AS to_at,
    CASE WHEN x.from_at < $since AND {from_tick} IS NOT NULL THEN edge.since_tick
        ELSE {from_tick} END AS from_tick,
    CASE WHEN x.to_at > $until AND {to_tick} IS NOT NULL THEN edge.until_tick
        ELSE {to_tick} END AS to_tick,
    x.estimated AND '{clock}' <> 'days' AS estimated
FROM {exposure} AS x
SEMI JOIN asked_record USING (locomotive)
LEFT JOIN asked_edge AS edge USING (locomotive)
WHERE x.to_at > $since AND x.from_at < $until AND {depot_kept}
