-- One row = one clock with the number of locomotives in scope whose counter kept one value over at
-- least {days} days in which the locomotive was in use.
WITH run AS (
    SELECT locomotive, clock, value, min(moment) AS from_at, max(moment) AS to_at
    FROM {counter} SEMI JOIN (FROM asked_record WHERE {kept}) USING (locomotive)
    WHERE moment >= $since AND moment < $until GROUP BY locomotive, clock, value
    HAVING max(moment) >= min(moment) + to_days({days})
), used AS (
    SELECT r.locomotive, r.clock, sum(epoch_us(least(x.to_at, r.to_at)) - epoch_us(greatest(x.from_at, r.from_at))) AS us
    FROM run AS r JOIN {exposure} AS x
        ON x.locomotive = r.locomotive AND x.to_at > r.from_at AND x.from_at < r.to_at
    GROUP BY r.locomotive, r.clock, r.value
)
SELECT clock, count(DISTINCT locomotive) AS locomotives FROM used
WHERE us >= {days} * 86400e6 GROUP BY clock
