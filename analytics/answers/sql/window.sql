-- One row = one window of observation of one locomotive on the clock, in ticks: stretches at risk
-- that touch on the clock are one window; service_tick is the clock at its entry into service.
WITH piece AS (
    SELECT {words}, from_at, from_tick, to_tick, max(to_tick) OVER (PARTITION BY {words}
        ORDER BY from_at ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS reached
    FROM asked_exposure WHERE from_tick IS NOT NULL AND to_tick IS NOT NULL
), numbered AS (
    SELECT *, sum(CASE WHEN from_tick <= reached THEN 0 ELSE 1 END) OVER (
        PARTITION BY {words} ORDER BY from_at ROWS UNBOUNDED PRECEDING) AS island FROM piece
), merged AS (
    SELECT {words}, min(from_tick)::BIGINT AS start, max(to_tick)::BIGINT AS stop
    FROM numbered GROUP BY {words}, island
)
SELECT {words}, start, stop, service_tick, in_service_to
FROM merged JOIN (
    SELECT locomotive, {service}::BIGINT AS service_tick, in_service_to FROM asked_record) USING (locomotive)
ORDER BY {words}, start
