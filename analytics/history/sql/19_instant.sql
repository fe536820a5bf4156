-- instant: one row = one instant of one locomotive at which its counters must be known.
CREATE OR REPLACE TEMP TABLE instant AS
SELECT DISTINCT locomotive, unnest([found_at, closed_at, prev_any_at, prev_same_at]) AS moment FROM h_episode_linked
UNION SELECT locomotive, censored_at FROM h_closing_core
UNION SELECT locomotive, unnest([start_at, entry_at, exit_at, lower_at]) FROM h_life_piece
UNION SELECT locomotive, unnest([from_at, to_at]) FROM h_exposure_core
UNION SELECT locomotive, unnest([begins_at, ends_at, in_service_from]) FROM h_record;
DELETE FROM instant WHERE moment IS NULL;
