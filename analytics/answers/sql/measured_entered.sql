-- One row = one reading in force of one parameter in scope, in the parameter's unit and as entered;
-- `inside` tells whether it lies within the record of its locomotive.
SELECT f.locomotive, r.class, f.parameter, coalesce(f.running_state, '') AS running_state, f.read_at,
    f.value_in_unit AS value, p.unit, f.value AS as_entered, coalesce(f.unit, '') AS unit_as_entered,
    f.read_at >= r.begins_at AND (r.in_service_to IS NULL OR f.read_at <= r.in_service_to) AS inside
FROM ({readings}) AS f
JOIN read_record AS r USING (locomotive)
JOIN asked_parameter AS p USING (parameter)
WHERE f.read_at >= $since AND f.read_at < $until
