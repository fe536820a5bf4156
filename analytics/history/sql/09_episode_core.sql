-- h_episode_core: one row = one episode: all findings of one position and one defect found before or
-- at the closing of an earlier one. Failure time = first found_at, severity = highest, closing =
-- last effective action, down hours = union of the findings' down intervals (NULL: none written).
CREATE OR REPLACE TEMP TABLE h_episode_core AS
WITH running AS (
    SELECT *, max(coalesce(closed_at, 'infinity'::TIMESTAMP)) OVER (
            PARTITION BY locomotive, component, place, defect ORDER BY turn
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS closed_so_far,
        epoch_us(found_at) + round(coalesce(down_hours, 0) * 3600e6)::BIGINT AS down_until,
        -- of several closings at one instant the one that did most is the last
        (list_position(['checked', 'restore', 'renew'], closing_effect), found_at,
            closing_action IS NOT NULL, turn) AS last_turn
    FROM h_closed_finding
), numbered AS (
    SELECT *, sum(CASE WHEN closed_so_far IS NULL OR found_at > closed_so_far THEN 1 ELSE 0 END) OVER (
            PARTITION BY locomotive, component, place, defect ORDER BY turn) AS island
    FROM running
), downed AS (
    SELECT *, greatest(0, down_until - greatest(epoch_us(found_at), coalesce(max(down_until) OVER (
            PARTITION BY locomotive, component, place, defect, island ORDER BY turn
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0))) AS down_us
    FROM numbered
)
SELECT locomotive, any_value(class) AS class, component, any_value(position) AS position, place, defect,
    min(found_at) AS found_at, arg_min(found_timed, turn) AS found_timed,
    arg_min(rank, (found_at, -rank)) AS first_rank, max(rank) AS rank,
    CASE WHEN count(closed_at) = count(*) THEN max(closed_at) END AS closed_at,
    arg_max(closed_timed, (closed_at, last_turn)) AS closed_timed,
    arg_max(closing_effect, (closed_at, last_turn)) AS effect,
    arg_max_null(closing_action, (closed_at, last_turn)) AS action,
    CASE WHEN arg_max(by_work, (closed_at, last_turn)) THEN 'work' ELSE 'finding' END AS closed_by,
    arg_max_null(closing_condition, (closed_at, last_turn)) AS condition_in,
    arg_max_null(closing_age, (closed_at, last_turn)) AS age_in,
    string_agg(action, '; ' ORDER BY turn) AS actions,
    coalesce(bool_or(effect = 'defer'), false) AS deferred,
    bool_and(blank_action) AS blank_action, bool_and(blank_severity) AS blank_severity,
    count(*)::INTEGER AS findings,
    CASE WHEN count(down_hours) > 0 THEN sum(down_us)::BIGINT / 3600e6 END AS down_hours,
    sum(labour_hours::DECIMAL(18, 4))::DOUBLE AS labour_hours, sum(cost::DECIMAL(18, 4))::DOUBLE AS cost
FROM downed GROUP BY locomotive, component, place, defect, island;
