-- One row = one locomotive in scope with its median running a day (in ticks) over the 90 days before
-- its data cut, weighed by the time between two readings of the counter; steps that reach into a
-- stretch out of use tell nothing. `days` is how much of the 90 days was read.
WITH cut AS (
    SELECT locomotive, class, least(ends_at, $until) AS cut_at FROM asked_record WHERE ends_at IS NOT NULL
), step AS (
    SELECT c.locomotive, class, cut_at, lag(moment) OVER w AS from_at, moment AS to_at,
        (value - lag(value) OVER w)::BIGINT AS ticks
    FROM {counter} AS c JOIN cut USING (locomotive)
    WHERE clock = '{clock}' AND moment <= cut_at AND moment > cut_at - to_days(152)
    WINDOW w AS (PARTITION BY c.locomotive ORDER BY moment)
), weighed AS (
    SELECT s.locomotive, class, ticks * 86400e6 / (epoch_us(to_at) - epoch_us(from_at)) AS a_day, to_at,
        (epoch_us(to_at) - epoch_us(greatest(from_at, cut_at - to_days(90))))::BIGINT AS weight
    FROM step AS s
    WHERE to_at > cut_at - to_days(90) AND from_at < to_at AND to_at <= from_at + to_days(62)
        AND NOT EXISTS (FROM ({out_of_use}) AS o WHERE o.locomotive = s.locomotive
            AND o.from_at < s.to_at AND coalesce(o.to_at, 'infinity'::TIMESTAMP) > s.from_at)
), ranked AS (
    SELECT *, sum(weight) OVER (PARTITION BY locomotive ORDER BY a_day, to_at ROWS UNBOUNDED PRECEDING) AS so_far,
        sum(weight) OVER (PARTITION BY locomotive) AS weights
    FROM weighed
)
SELECT locomotive, any_value(class) AS class, min(a_day) FILTER (2 * so_far >= weights) AS a_day,
    max(weights)::BIGINT / 86400e6 AS days
FROM ranked GROUP BY locomotive ORDER BY locomotive
