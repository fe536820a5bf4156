"""The command line: one module per family of commands, loaded only when one of them is called."""
