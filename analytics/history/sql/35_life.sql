-- history.life: one row = one stretch at risk of one life under one counting rule, with its clocks.
INSERT INTO history.life
SELECT l.counting, l.locomotive, l.bucket, l.class, l.depot, l.component, l.position, l.life, l.piece,
    l.start_at, l.start_known, l.start_age, l.entry_at, l.exit_at, l.lower_at, l.failed, l.end_kind,
    l.defect, l.action, s.hours, n.hours, x.hours, w.hours, s.km, n.km, x.km, w.km, l.inspected, l.first_known
FROM h_life_piece AS l
LEFT JOIN instant_clock AS s ON s.locomotive = l.locomotive AND s.moment = l.start_at
LEFT JOIN instant_clock AS n ON n.locomotive = l.locomotive AND n.moment = l.entry_at
LEFT JOIN instant_clock AS x ON x.locomotive = l.locomotive AND x.moment = l.exit_at
LEFT JOIN instant_clock AS w ON w.locomotive = l.locomotive AND w.moment = l.lower_at
ORDER BY l.counting, l.component, l.locomotive, l.position, l.life, l.piece;
