-- One row = one locomotive in one week that begins on a Monday, with its first findings of one
-- component; from `asked_event`.
SELECT component, class, locomotive, date_trunc('week', found_at)::TIMESTAMP AS week, count(*)::BIGINT AS events
FROM asked_event GROUP BY ALL ORDER BY ALL
