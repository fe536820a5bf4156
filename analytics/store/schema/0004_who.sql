-- Schema version 4: who handed a batch in, and who withdrew it (a name, or a word for a program).
ALTER TABLE batch ADD COLUMN who VARCHAR DEFAULT '';
ALTER TABLE batch ADD COLUMN withdrawn_by VARCHAR DEFAULT '';
