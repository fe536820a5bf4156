-- One row = one closing of a stated position with the days to its next episode (empty: none before it
-- could no longer be followed) and the days it was followed at all, both no further than the window.
WITH told AS (
    SELECT locomotive, component, position, found_at AS moment, 0 AS turn, found_at AS next, NULL AS episode
    FROM {episode} SEMI JOIN asked_record USING (locomotive)
    WHERE {counted} AND position IS NOT NULL AND found_at < $until
    UNION ALL
    SELECT locomotive, component, position, closed_at, 1, NULL, episode FROM {closing}
    SEMI JOIN asked_record USING (locomotive) WHERE position IS NOT NULL AND observed
), ahead AS (
    SELECT episode, last_value(next IGNORE NULLS) OVER (PARTITION BY locomotive, component, position
        ORDER BY moment DESC, turn DESC ROWS UNBOUNDED PRECEDING) AS next_at
    FROM told QUALIFY episode IS NOT NULL
), followed AS (
    SELECT c.component, c.action, c.effect, (epoch_us(next_at) - epoch_us(closed_at)) / 86400e6 AS next_days,
        least((epoch_us(least(censored_at, $until)) - epoch_us(closed_at)) / 86400e6, {window}) AS end_days
    FROM {closing} AS c JOIN ahead USING (episode) WHERE c.closed_at < $until
)
SELECT component, coalesce(action, '') AS action, effect, least(coalesce(next_days, end_days), end_days) AS days,
    coalesce(next_days <= end_days, false) AS came_back
FROM followed WHERE end_days > 0 ORDER BY ALL
