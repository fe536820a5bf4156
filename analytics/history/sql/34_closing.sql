-- history.closing: one row = one closing of one episode and the end of what can be followed after it.
INSERT INTO history.closing
SELECT k.episode, k.locomotive, k.bucket, k.class, k.component, k.position, k.defect, k.depot, k.rank,
    k.effect, k.action, k.blank_action, k.closed_at, k.closed_timed, a.hours, a.km, k.observed,
    k.censored_at, z.hours, z.km
FROM h_closing_core AS k
LEFT JOIN instant_clock AS a ON a.locomotive = k.locomotive AND a.moment = k.closed_at
LEFT JOIN instant_clock AS z ON z.locomotive = k.locomotive AND z.moment = k.censored_at
ORDER BY k.locomotive, k.component, k.position, k.closed_at;
