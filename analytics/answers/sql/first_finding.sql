-- asked_event: one row = one first finding in scope: the first counted failure of a chain. A chain
-- goes on with what is found within one window after a closing of its position, while another defect
-- of it is open, or at one instant with another one: all of that tells of the same trouble. Where the
-- position is not stated the chain is that of locomotive and component.
WITH told AS (
    SELECT episode, locomotive, component, coalesce(position, 0) AS place, found_at, defect, {counted} AS counted,
        open_at_found, found_timed, found_hours, found_km, prev_any_at AS prev_at, prev_any_timed AS prev_timed,
        prev_any_hours AS prev_hours, prev_any_km AS prev_km
    FROM {episode} SEMI JOIN asked_record USING (locomotive) SEMI JOIN asked_place USING (class, component)
    WHERE found_at < $until AND observed
), linked AS (
    SELECT *, CASE WHEN open_at_found OR coalesce({gap} BETWEEN 0 AND {amount}, false)
            OR coalesce(lag(found_at) OVER (PARTITION BY locomotive, component, place
                ORDER BY found_at, defect) = found_at, false) THEN 0 ELSE 1 END AS begins
    FROM told
), numbered AS (
    SELECT *, sum(begins) OVER (PARTITION BY locomotive, component, place
        ORDER BY found_at, defect ROWS UNBOUNDED PRECEDING) AS chain FROM linked
), head AS (
    SELECT episode FROM numbered WHERE counted
    QUALIFY row_number() OVER (PARTITION BY locomotive, component, place, chain ORDER BY found_at, defect) = 1
)
SELECT a.episode, a.locomotive, a.class, a.component, a.position, a.depot, a.found_at, a.found_tick
FROM asked_episode AS a SEMI JOIN head USING (episode)
WHERE a.observed AND a.found_tick IS NOT NULL
