-- One row = one position still inside its window after its latest closing, with nothing open on it.
WITH cut AS (
    SELECT locomotive, least(ends_at, $until) AS cut_at FROM asked_record
), latest AS (
    SELECT e.*, cut_at FROM {episode} AS e JOIN cut USING (locomotive)
    SEMI JOIN asked_place ON asked_place.class = e.class AND asked_place.component = e.component
    WHERE {counted} AND position IS NOT NULL AND found_at < cut_at
    QUALIFY row_number() OVER (PARTITION BY e.locomotive, e.component, position
        ORDER BY closed_at DESC NULLS FIRST, found_at DESC, defect) = 1
)
SELECT locomotive, component, position, defect, coalesce(action, '') AS action, effect, closed_at,
    (epoch_us(cut_at) - epoch_us(closed_at)) / 86400e6 AS held_days, {in_service} AS in_service,
    coalesce(NOT open_at_found AND epoch_us(found_at) - epoch_us(prev_any_at) <= {window} * 86400e6, false) AS came_back
FROM latest WHERE closed_at <= cut_at AND epoch_us(cut_at) - epoch_us(closed_at) <= {window} * 86400e6
ORDER BY locomotive, component, position
