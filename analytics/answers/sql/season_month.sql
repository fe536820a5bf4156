-- One row = one class and calendar month with its time at risk on the clock, in ticks (component NULL),
-- or one class, component and calendar month with its counted failures. All locomotives.
SELECT class, NULL AS component, month, sum({to_tick} - {from_tick})::DOUBLE AS amount
FROM {exposure} WHERE month >= $first AND month < $end
GROUP BY ALL HAVING amount > 0
UNION ALL
SELECT class, component, date_trunc('month', found_at)::DATE, count(*)::DOUBLE
FROM {episode} WHERE {counted} AND {defect_kept} AND observed AND {found_tick} IS NOT NULL
    AND found_at >= $first AND found_at < $end
GROUP BY ALL
ORDER BY ALL
