-- One row = one day of a segment that runs now: the median of the day's readings, and when, in days
-- since 1970.
SELECT m.place, median(d.value) AS value, median(epoch_us(d.read_at)) / 86400e6 AS moment
FROM measured_place AS m
JOIN asked_reading AS d USING (locomotive, parameter, running_state, segment)
GROUP BY m.place, d.read_at::DATE
ORDER BY m.place, moment
