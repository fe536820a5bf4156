"""The command line: one module per family of commands, loaded when a word is used."""
