-- asked_inspection: one row = one inspection in force, of the locomotives asked about, within record and
-- period; depot as written, else that of the register. `late`: what came after is not fully known.
SELECT row_number() OVER (ORDER BY i.locomotive, i.inspected_at, i.kind) AS id, i.locomotive, i.inspected_at,
    i.kind, i.outcome, coalesce(i.depot, r.depot, '') AS depot, strftime(i.inspected_at, '%Y-%m') AS month,
    i.inspected_at + INTERVAL {days} DAY > least(r.ends_at, $until) AS late
FROM ({inspections}) AS i JOIN asked_record AS r USING (locomotive)
WHERE i.inspected_at BETWEEN r.begins_at AND r.ends_at AND i.inspected_at >= $since AND i.inspected_at < $until
