"""Files to staged and checked rows: which table a file is, what each row lacks, where it goes."""
