-- asked_episode: one row = one counted failure in scope found within the period, with its clock in
-- ticks (NULL: not known); `observed` tells whether the locomotive was at risk then.
SELECT e.episode, e.locomotive, e.class, e.component, e.position, e.defect,
    coalesce(e.action, '') AS action, coalesce(e.depot, '') AS depot,
    strftime(e.found_at, '%Y-%m') AS month, e.found_at, e.effect, e.blank_action, e.observed,
    {found_tick} AS found_tick
FROM {episode} AS e
SEMI JOIN asked_record USING (locomotive)
JOIN asked_place USING (class, component)
WHERE {counted} AND e.found_at >= $since AND e.found_at < $until AND {depot_kept} AND {defect_kept}
