-- asked_state: one row = one stretch of one locomotive's record over which nothing changes: out of use,
-- down for what reason (unplanned before planned), near enough to an inspection, at one depot in one
-- month. `last`: the record ends with it; `still`: it was down beyond that end.
WITH record AS (
    SELECT locomotive, class, depot, inspections > 0 AS inspected, begins_at AS from_at,
        least(ends_at, $until) AS to_at, coalesce(in_service_to <= least(ends_at, $until), false) AS gone
    FROM asked_record WHERE begins_at < least(ends_at, $until)
), stretch AS (
    SELECT locomotive, 'record' AS what, from_at, to_at, NULL AS depot FROM record
    UNION ALL SELECT locomotive, 'idle', o.from_at, coalesce(o.to_at, 'infinity'::TIMESTAMP), NULL
        FROM ({out_of_use}) AS o SEMI JOIN record USING (locomotive)
    UNION ALL SELECT locomotive, 'seen', x.from_at, x.to_at, x.depot
        FROM {exposure} AS x SEMI JOIN record USING (locomotive)
    UNION ALL SELECT locomotive, CASE kind WHEN 'work' THEN 'planned' ELSE 'unplanned' END, s.from_at,
        coalesce(s.to_at, 'infinity'::TIMESTAMP), NULL FROM asked_span AS s SEMI JOIN record USING (locomotive)
        WHERE s.state <> 'unmeasured'
), event AS (
    SELECT locomotive, from_at AS moment, what, 1 AS step, depot FROM stretch
    UNION ALL SELECT locomotive, to_at, what, -1, NULL FROM stretch
    UNION ALL SELECT locomotive, unnest(range(date_trunc('month', from_at) + INTERVAL 1 MONTH, to_at,
        INTERVAL 1 MONTH)), 'month', 0, NULL FROM record
    UNION ALL SELECT locomotive, $since, 'period', 0, NULL FROM record
), stepped AS (
    SELECT locomotive, moment, max(depot) AS depot,
        coalesce(sum(step) FILTER (what = 'record'), 0) AS record, coalesce(sum(step) FILTER (what = 'idle'), 0) AS idle,
        coalesce(sum(step) FILTER (what = 'seen'), 0) AS seen,
        coalesce(sum(step) FILTER (what = 'unplanned'), 0) AS unplanned,
        coalesce(sum(step) FILTER (what = 'planned'), 0) AS planned
    FROM event GROUP BY locomotive, moment
), running AS (
    SELECT locomotive, moment, lead(moment) OVER (PARTITION BY locomotive ORDER BY moment) AS next_at,
        last_value(depot IGNORE NULLS) OVER so_far AS depot, sum(record) OVER so_far > 0 AS record,
        sum(idle) OVER so_far > 0 AS idle, sum(seen) OVER so_far > 0 AS seen,
        CASE WHEN sum(unplanned) OVER so_far > 0 THEN 'unplanned'
            WHEN sum(planned) OVER so_far > 0 THEN 'planned' ELSE '' END AS down
    FROM stepped WINDOW so_far AS (PARTITION BY locomotive ORDER BY moment ROWS UNBOUNDED PRECEDING)
), beyond AS (
    SELECT *, lead(down) OVER (PARTITION BY locomotive ORDER BY moment) AS down_next FROM running
)
SELECT b.locomotive, r.class, coalesce(b.depot, r.depot, '') AS depot, strftime(b.moment, '%Y-%m') AS month,
    b.moment AS from_at, b.next_at AS to_at, (epoch_us(b.next_at) - epoch_us(b.moment))::BIGINT AS us,
    r.inspected, b.idle, b.seen, b.down, b.next_at = r.to_at AS last,
    b.next_at = r.to_at AND b.down = b.down_next AND NOT r.gone AS still,
    b.next_at = r.to_at AND b.down = b.down_next AS beyond, b.moment >= $since AS asked
FROM beyond AS b JOIN record AS r USING (locomotive)
WHERE b.record
