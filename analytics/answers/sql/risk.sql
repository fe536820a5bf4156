-- One row = one stretch at risk (from_tick, to_tick] of one position within one life, with the number
-- of events at its end: cut at pauses, at changes of depot and at every event of `asked_event`. An
-- event at the begin of a stretch (after a gap, at a new depot) has a stretch of no length.
WITH beside AS (
    SELECT *, lag(to_at) OVER (PARTITION BY locomotive, depot ORDER BY from_at) AS reached
    FROM asked_exposure WHERE from_tick IS NOT NULL AND to_tick IS NOT NULL
), numbered AS (
    SELECT *, sum((reached IS DISTINCT FROM from_at)::INTEGER) OVER (
        PARTITION BY locomotive, depot ORDER BY from_at ROWS UNBOUNDED PRECEDING) AS island FROM beside
), stretch AS (
    SELECT locomotive, depot, min(from_at) AS from_at, max(to_at) AS to_at, min(from_tick) AS from_tick,
        max(to_tick) AS to_tick FROM numbered GROUP BY locomotive, depot, island
), piece AS (
    SELECT l.component, l.class, s.depot, l.locomotive, l.position, l.life, l.start_at, l.start_known, l.start_age,
        {start_tick} AS start_tick,
        greatest(l.entry_at, s.from_at) AS from_at, least(l.exit_at, s.to_at) AS to_at,
        CASE WHEN l.entry_at >= s.from_at THEN {entry_tick} ELSE s.from_tick END AS from_tick,
        CASE WHEN l.exit_at <= s.to_at THEN {exit_tick} ELSE s.to_tick END AS to_tick,
        row_number() OVER (ORDER BY l.component, l.locomotive, l.position, l.life, l.piece, s.from_at) AS number
    FROM {life} AS l SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    JOIN stretch AS s ON s.locomotive = l.locomotive AND s.from_at < l.exit_at AND s.to_at > l.entry_at
    WHERE l.counting = '{counting}'
), matched AS (  -- at a change of depot an event belongs to the depot that found it
    SELECT e.found_at, e.found_tick, p.number
    FROM asked_event AS e JOIN piece AS p ON p.locomotive = e.locomotive AND p.component = e.component
        AND p.position = e.position AND e.found_at BETWEEN p.from_at AND p.to_at
    QUALIFY row_number() OVER (PARTITION BY e.episode
        ORDER BY (p.depot = e.depot) DESC, (p.from_at < e.found_at) DESC, p.number) = 1
), hit AS (
    SELECT number, found_at AS moment, found_tick AS tick, count(*)::BIGINT AS events FROM matched GROUP BY ALL
), point AS (
    FROM hit
    UNION ALL
    SELECT number, to_at, to_tick, 0 FROM piece ANTI JOIN hit ON hit.number = piece.number AND hit.moment = piece.to_at
), step AS (
    SELECT number, moment, lag(tick) OVER (PARTITION BY number ORDER BY moment) AS before, tick, events FROM point
)
SELECT component, class, depot, locomotive, position, life, start_at, start_known, start_age, start_tick::BIGINT AS start_tick,
    coalesce(before, from_tick)::BIGINT AS from_tick, tick::BIGINT AS to_tick, events
FROM step JOIN piece USING (number)
ORDER BY number, moment
