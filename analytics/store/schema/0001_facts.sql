-- Schema version 1: facts as received, append-only. A correction is a new row of a later batch.
-- Common columns: batch, file (place in the batch), row_number (line in the file, header = 1),
-- ordinal (n-th among rows of one key in one batch), bucket (md5 of the locomotive's text).
CREATE SCHEMA facts;

CREATE TABLE meta (name VARCHAR PRIMARY KEY, value VARCHAR NOT NULL);

-- One row = one call of ingest that changed the store.
CREATE TABLE batch (
    batch INTEGER PRIMARY KEY, received_at TIMESTAMP NOT NULL, withdrawn_at TIMESTAMP);

-- One row = one file (or sheet) of one batch, with where its rows went.
CREATE TABLE batch_file (
    batch INTEGER NOT NULL, file INTEGER NOT NULL, name VARCHAR NOT NULL, table_name VARCHAR NOT NULL,
    sha256 VARCHAR NOT NULL, rows BIGINT NOT NULL, accepted BIGINT NOT NULL, updated BIGINT NOT NULL,
    duplicate BIGINT NOT NULL, set_aside BIGINT NOT NULL);

-- One row = one input row that was not accepted, as received (JSON object: heading to cell).
CREATE TABLE set_aside (
    batch INTEGER NOT NULL, file INTEGER NOT NULL, row_number BIGINT NOT NULL, column_name VARCHAR,
    rule VARCHAR NOT NULL, reason VARCHAR NOT NULL, received VARCHAR NOT NULL);

-- One row = one catalogue file, whole, as it was when this snapshot was built.
CREATE TABLE catalogue_file (name VARCHAR PRIMARY KEY, text VARCHAR NOT NULL);

CREATE TABLE facts.locomotives (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, class VARCHAR NOT NULL, depot VARCHAR,
    in_service_from TIMESTAMP, in_service_to TIMESTAMP, records_from TIMESTAMP,
    engine_hours_at_start DOUBLE, km_at_start DOUBLE);

CREATE TABLE facts.usage (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, read_at TIMESTAMP NOT NULL, engine_hours DOUBLE, km DOUBLE);

CREATE TABLE facts.inspections (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, inspected_at TIMESTAMP NOT NULL, kind VARCHAR NOT NULL, depot VARCHAR,
    engine_hours DOUBLE, km DOUBLE, outcome VARCHAR, signed BOOLEAN);

-- *_timed: whether a time of day was written; a bare date is 00:00 of that day.
CREATE TABLE facts.findings (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, found_at TIMESTAMP NOT NULL, found_timed BOOLEAN NOT NULL,
    component VARCHAR NOT NULL, position VARCHAR, defect VARCHAR NOT NULL, severity VARCHAR,
    action VARCHAR, closed_at TIMESTAMP, closed_timed BOOLEAN, down_hours DOUBLE, labour_hours DOUBLE,
    cost DOUBLE, finding_id VARCHAR, quantity DOUBLE, serial_out VARCHAR, serial_in VARCHAR,
    age_in DOUBLE, condition_in VARCHAR, team VARCHAR, note VARCHAR);

CREATE TABLE facts.work (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, done_at TIMESTAMP NOT NULL, done_timed BOOLEAN NOT NULL,
    component VARCHAR NOT NULL, position VARCHAR, action VARCHAR NOT NULL, labour_hours DOUBLE,
    cost DOUBLE, work_id VARCHAR, serial_out VARCHAR, serial_in VARCHAR, age_in DOUBLE,
    condition_in VARCHAR, note VARCHAR);

CREATE TABLE facts.out_of_use (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, from_at TIMESTAMP NOT NULL, to_at TIMESTAMP, reason VARCHAR);

CREATE TABLE facts.modifications (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, done_at TIMESTAMP NOT NULL, name VARCHAR NOT NULL);

-- value and unit as entered; value_in_unit in the unit that the catalogue gives the parameter.
CREATE TABLE facts.readings (
    batch INTEGER, file INTEGER, row_number BIGINT, ordinal INTEGER, bucket INTEGER,
    locomotive VARCHAR NOT NULL, read_at TIMESTAMP NOT NULL, parameter VARCHAR NOT NULL,
    value DOUBLE NOT NULL, unit VARCHAR, running_state VARCHAR, value_in_unit DOUBLE NOT NULL);
