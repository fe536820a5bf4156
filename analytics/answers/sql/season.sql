-- One row = one class and component with its failures and locomotive-days in the three calendar months
-- around the data cut and in all other months, the last half year left out: it is not an earlier year.
WITH cut AS (
    SELECT max(least(ends_at, $until)) AS at FROM asked_record
), month AS (
    SELECT class, strptime(month, '%Y-%m') AS begins, sum(epoch_us(to_at) - epoch_us(from_at)) / 86400e6 AS days
    FROM asked_exposure GROUP BY ALL
), judged AS (
    SELECT *, abs((date_part('month', begins) - date_part('month', cut.at) + 18)::INTEGER % 12 - 6) <= 1 AS now
    FROM month CROSS JOIN cut WHERE begins < cut.at - INTERVAL 6 MONTH
), days AS (
    SELECT class, coalesce(sum(days) FILTER (now), 0) AS days_now, coalesce(sum(days) FILTER (NOT now), 0) AS days_else,
        count(DISTINCT date_part('year', begins)) FILTER (now) AS years
    FROM judged GROUP BY class
), found AS (
    SELECT e.class, component, count(*) FILTER (now) AS found_now, count(*) FILTER (NOT now) AS found_else
    FROM asked_episode AS e JOIN judged AS j ON j.class = e.class AND strftime(j.begins, '%Y-%m') = e.month
    WHERE observed GROUP BY ALL
)
SELECT class, component, found_now, found_else, days_now::DOUBLE AS days_now, days_else::DOUBLE AS days_else, years
FROM found JOIN days USING (class) ORDER BY class, component
