-- One row = one stretch of {days} days back from the data cut, of one locomotive at risk over nearly all
-- of it, with the failures found in it; the last two years at most.
WITH cut AS (
    SELECT max(least(ends_at, $until)) AS at FROM asked_record
), stretch AS (
    SELECT number, cut.at - to_microseconds((number * {days} * 86400e6)::BIGINT) AS to_at,
        cut.at - to_microseconds(((number + 1) * {days} * 86400e6)::BIGINT) AS from_at
    FROM cut, range(0, {number}) AS r (number)
), seen AS (
    SELECT x.locomotive, s.number,
        sum(epoch_us(least(x.to_at, s.to_at)) - epoch_us(greatest(x.from_at, s.from_at))) / 86400e6 AS at_risk
    FROM asked_exposure AS x JOIN stretch AS s ON x.to_at > s.from_at AND x.from_at < s.to_at GROUP BY ALL
), found AS (
    SELECT e.locomotive, s.number, count(*) AS failures
    FROM asked_episode AS e JOIN stretch AS s ON e.found_at > s.from_at AND e.found_at <= s.to_at
    WHERE observed GROUP BY ALL
)
SELECT locomotive, coalesce(failures, 0)::DOUBLE AS failures
FROM seen LEFT JOIN found USING (locomotive, number) WHERE at_risk >= 0.9 * {days} ORDER BY locomotive, number
