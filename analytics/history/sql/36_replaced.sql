-- history.replaced: one row = one row of the facts, of a batch not withdrawn, that no longer counts: a
-- later version of its key does. Few rows are, so that questions about all of them look here, and
-- need not compare the versions of every key again.
INSERT INTO history.replaced
WITH live AS (
    SELECT batch FROM batch WHERE withdrawn_at IS NULL
), told AS (
    SELECT 'locomotives' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.locomotives ANTI JOIN f_locomotives USING (batch, file, row_number)
    UNION ALL SELECT 'usage' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.usage ANTI JOIN f_usage USING (batch, file, row_number)
    UNION ALL SELECT 'inspections' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.inspections ANTI JOIN f_inspections USING (batch, file, row_number)
    UNION ALL SELECT 'findings' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.findings ANTI JOIN f_findings USING (batch, file, row_number)
    UNION ALL SELECT 'work' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.work ANTI JOIN f_work USING (batch, file, row_number)
    UNION ALL SELECT 'out_of_use' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.out_of_use ANTI JOIN f_out_of_use USING (batch, file, row_number)
    UNION ALL SELECT 'modifications' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.modifications ANTI JOIN f_modifications USING (batch, file, row_number)
    UNION ALL SELECT 'readings' AS table_name, locomotive, bucket, batch, file, row_number
    FROM facts.readings ANTI JOIN f_readings USING (batch, file, row_number)
)
FROM told SEMI JOIN touched USING (locomotive) SEMI JOIN live USING (batch)
ORDER BY table_name, locomotive, batch, file, row_number;
