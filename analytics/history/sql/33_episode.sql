-- history.episode: one row = one episode, with its clocks and the closing of its position before it.
INSERT INTO history.episode
SELECT e.episode, e.locomotive, r.bucket, e.class, e.component, e.position, e.defect, e.depot,
    e.found_at, e.found_timed, e.first_rank, e.rank, CASE WHEN e.closed_at IS NOT NULL THEN e.effect END,
    CASE WHEN e.closed_at IS NOT NULL THEN e.action END, e.actions, e.closed_at,
    CASE WHEN e.closed_at IS NOT NULL THEN e.closed_timed END,
    CASE WHEN e.closed_at IS NOT NULL THEN e.closed_by END,
    e.deferred, e.blank_action, e.blank_severity, e.findings, e.down_hours, e.labour_hours, e.cost,
    e.observed, f.hours, f.km, c.hours, c.km,
    epoch_us(e.found_at) - epoch_us(r.in_service_from), f.hours - s.hours, f.km - s.km,
    e.open_at_found,
    e.prev_any_at, e.prev_any_timed, p.hours, p.km, e.prev_any_action,
    e.prev_same_at, e.prev_same_timed, q.hours, q.km, e.prev_same_action
FROM h_episode_linked AS e
JOIN h_record AS r USING (locomotive)
LEFT JOIN instant_clock AS f ON f.locomotive = e.locomotive AND f.moment = e.found_at
LEFT JOIN instant_clock AS c ON c.locomotive = e.locomotive AND c.moment = e.closed_at
LEFT JOIN instant_clock AS p ON p.locomotive = e.locomotive AND p.moment = e.prev_any_at
LEFT JOIN instant_clock AS q ON q.locomotive = e.locomotive AND q.moment = e.prev_same_at
LEFT JOIN instant_clock AS s ON s.locomotive = e.locomotive AND s.moment = r.in_service_from
ORDER BY e.locomotive, e.component, e.place, e.found_at;
