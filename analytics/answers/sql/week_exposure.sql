-- One row = one class in one week that begins on a Monday, with the ticks of the clock that its
-- locomotives were at risk in it. Within one stretch (a month at most) the clock is taken as even.
WITH piece AS (
    SELECT class, from_at, to_at, to_tick - from_tick AS ticks,
        unnest(range(date_trunc('week', from_at)::TIMESTAMP, to_at, INTERVAL 7 DAY)) AS week
    FROM asked_exposure WHERE from_tick IS NOT NULL AND to_at > from_at
), part AS (
    SELECT class, week, ticks, epoch_us(to_at) - epoch_us(from_at) AS whole,
        epoch_us(least(to_at, week + INTERVAL 7 DAY)) - epoch_us(greatest(from_at, week)) AS share
    FROM piece
)
SELECT class, week, sum((ticks::HUGEINT * share) // whole)::BIGINT AS ticks
FROM part WHERE share > 0 GROUP BY class, week ORDER BY class, week
