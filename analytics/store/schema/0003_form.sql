-- Schema version 3: how each file was written, so that its set-aside rows can be given back alike.
-- form: JSON object (kind, delimiter, encoding, sheet, ...); headings: JSON list as received;
-- mapping: the text of the mapping file it came in by (empty where none).
ALTER TABLE batch_file ADD COLUMN form VARCHAR DEFAULT '{}';
ALTER TABLE batch_file ADD COLUMN headings VARCHAR DEFAULT '[]';
ALTER TABLE batch_file ADD COLUMN mapping VARCHAR DEFAULT '';
