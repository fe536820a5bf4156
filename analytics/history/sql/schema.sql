-- The history tables, made anew whenever HISTORY_VERSION changes; everything in them can be rebuilt.
CREATE SCHEMA IF NOT EXISTS history;
CREATE OR REPLACE TABLE history.record (
    locomotive VARCHAR, bucket INTEGER, class VARCHAR, depot VARCHAR, in_service_from TIMESTAMP,
    in_service_to TIMESTAMP, records_begin TIMESTAMP, begins_at TIMESTAMP, ends_at TIMESTAMP,
    first_life_known BOOLEAN, inspections BIGINT, median_interval_days DOUBLE, begins_hours BIGINT,
    begins_km BIGINT, ends_hours BIGINT, ends_km BIGINT, service_hours BIGINT, service_km BIGINT);
CREATE OR REPLACE TABLE history.counter (
    locomotive VARCHAR, bucket INTEGER, clock VARCHAR, moment TIMESTAMP, value BIGINT, raw DOUBLE, reset BOOLEAN);
CREATE OR REPLACE TABLE history.exposure (
    locomotive VARCHAR, bucket INTEGER, class VARCHAR, depot VARCHAR, month DATE, from_at TIMESTAMP,
    to_at TIMESTAMP, from_hours BIGINT, to_hours BIGINT, from_km BIGINT, to_km BIGINT, estimated BOOLEAN);
CREATE OR REPLACE TABLE history.episode (
    episode BIGINT, locomotive VARCHAR, bucket INTEGER, class VARCHAR, component VARCHAR, position INTEGER,
    defect VARCHAR, depot VARCHAR, found_at TIMESTAMP, found_timed BOOLEAN, first_rank SMALLINT,
    rank SMALLINT, effect VARCHAR, action VARCHAR, actions VARCHAR, closed_at TIMESTAMP,
    closed_timed BOOLEAN, closed_by VARCHAR, deferred BOOLEAN, blank_action BOOLEAN, blank_severity BOOLEAN,
    findings INTEGER, down_hours DOUBLE, labour_hours DOUBLE, cost DOUBLE, observed BOOLEAN,
    found_hours BIGINT, found_km BIGINT, closed_hours BIGINT, closed_km BIGINT,
    service_age_us BIGINT, service_age_hours BIGINT, service_age_km BIGINT, open_at_found BOOLEAN,
    prev_any_at TIMESTAMP, prev_any_timed BOOLEAN, prev_any_hours BIGINT, prev_any_km BIGINT,
    prev_any_action VARCHAR, prev_same_at TIMESTAMP, prev_same_timed BOOLEAN, prev_same_hours BIGINT,
    prev_same_km BIGINT, prev_same_action VARCHAR);
CREATE OR REPLACE TABLE history.closing (
    episode BIGINT, locomotive VARCHAR, bucket INTEGER, class VARCHAR, component VARCHAR, position INTEGER,
    defect VARCHAR, depot VARCHAR, rank SMALLINT, effect VARCHAR, action VARCHAR, blank_action BOOLEAN,
    closed_at TIMESTAMP, closed_timed BOOLEAN, closed_hours BIGINT, closed_km BIGINT, observed BOOLEAN,
    censored_at TIMESTAMP, censored_hours BIGINT, censored_km BIGINT);
CREATE OR REPLACE TABLE history.life (
    counting VARCHAR, locomotive VARCHAR, bucket INTEGER, class VARCHAR, depot VARCHAR, component VARCHAR,
    position INTEGER, life INTEGER, piece INTEGER, start_at TIMESTAMP, start_known BOOLEAN,
    start_age DOUBLE, entry_at TIMESTAMP, exit_at TIMESTAMP, lower_at TIMESTAMP, failed BOOLEAN,
    end_kind VARCHAR, defect VARCHAR, action VARCHAR, start_hours BIGINT, entry_hours BIGINT,
    exit_hours BIGINT, lower_hours BIGINT, start_km BIGINT, entry_km BIGINT, exit_km BIGINT,
    lower_km BIGINT, inspected BOOLEAN, first_known BOOLEAN);
CREATE OR REPLACE TABLE history.replaced (
    table_name VARCHAR, locomotive VARCHAR, bucket INTEGER, batch INTEGER, file INTEGER, row_number BIGINT);
