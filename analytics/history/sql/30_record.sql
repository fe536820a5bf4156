-- history.record: one row = one locomotive on the register, its observation and counters at its ends.
INSERT INTO history.record
SELECT r.locomotive, r.bucket, r.class, r.depot, r.in_service_from, r.in_service_to, r.records_begin,
    r.begins_at, r.ends_at, r.first_life_known, r.inspections, r.median_interval_days,
    b.hours, b.km, e.hours, e.km, s.hours, s.km
FROM h_record AS r
LEFT JOIN instant_clock AS b ON b.locomotive = r.locomotive AND b.moment = r.begins_at
LEFT JOIN instant_clock AS e ON e.locomotive = r.locomotive AND e.moment = r.ends_at
LEFT JOIN instant_clock AS s ON s.locomotive = r.locomotive AND s.moment = r.in_service_from;
