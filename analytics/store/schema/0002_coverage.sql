-- Schema version 2: up to when a hand-in was declared complete (`--covered-until`).
-- One row = one locomotive of one batch that carried the declaration.
CREATE TABLE coverage (
    batch INTEGER NOT NULL, bucket INTEGER NOT NULL, locomotive VARCHAR NOT NULL, covered_until TIMESTAMP NOT NULL);
