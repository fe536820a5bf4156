-- asked_link: one row = one failure in scope of a run: failures of one position, each found within one
-- window of the closing before it; `chain` is the episode that begins the run. Runs of less than
-- `at_least` (1, or 2 and above) are left out. Runs go over all failures, also uncounted ones; `counted`
-- tells which are listed, `gap_days` is the way from the closing before. Places are compared as
-- numbers, and the rows joined again at the end: to sort them with all their columns would cost more.
WITH loco AS (
    SELECT locomotive, row_number() OVER (ORDER BY locomotive) AS loco FROM asked_record
), part AS (
    SELECT class, component, dense_rank() OVER (ORDER BY component) AS part FROM asked_place
), told AS (
    SELECT episode, (loco * 100_000 + part) * 100_000 + coalesce(position, 0) AS place, {kind} AS kind, found_at, defect,
        CASE WHEN NOT open_at_found AND {gap} BETWEEN 0 AND {amount} THEN 0 ELSE 1 END AS begins
    FROM {episode} JOIN loco USING (locomotive) JOIN part USING (class, component)
    WHERE found_at < $until AND observed
), near AS (
    SELECT place, kind FROM told GROUP BY ALL
    HAVING max(found_at) >= $since AND (min(begins) = 0 OR {at_least} = 1)
), numbered AS (
    SELECT episode, coalesce(last_value(CASE WHEN begins = 1 THEN episode END IGNORE NULLS)
            OVER (run ROWS UNBOUNDED PRECEDING), first_value(episode) OVER run) AS chain
    FROM told SEMI JOIN near USING (place, kind)
    WINDOW run AS (PARTITION BY place, kind ORDER BY found_at, defect)
    QUALIFY begins = 0 OR lead(begins, 1, 1) OVER run = 0 OR {at_least} = 1
)
SELECT chain, locomotive, component, position, coalesce(position, 0) AS place, defect, found_at,
    {gap_days} AS gap_days, closed_at IS NULL OR closed_at >= $until AS is_open, {counted} AS counted,
    closed_at, action, down_hours, cost, {depot_kept} AND {defect_kept} AS kept
FROM {episode} JOIN numbered USING (episode)
