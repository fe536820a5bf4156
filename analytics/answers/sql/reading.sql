-- One row = the last cleaned reading of one day of one counter in scope, in h or km; `reset` tells
-- whether a new counter began on that day.
SELECT locomotive, clock, max(moment) AS read_at,
    arg_max(value, moment)::DOUBLE / CASE clock WHEN 'hours' THEN 10 ELSE 1 END AS value,
    arg_max(raw, moment)::DOUBLE AS raw, bool_or(reset) AS reset
FROM {counter} SEMI JOIN (FROM asked_record WHERE {kept}) USING (locomotive)
WHERE moment >= $since AND moment < $until AND {clock_kept}
GROUP BY locomotive, clock, moment::DATE
ORDER BY locomotive, clock, read_at
