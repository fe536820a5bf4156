-- history.counter: one row = one cleaned counter reading, cumulative over replaced counters.
INSERT INTO history.counter
SELECT locomotive, bucket, clock, moment, value, raw, reset FROM h_counter ORDER BY locomotive, clock, moment;
