"""What can be inspected: systems, components, defects, actions, parameters with their limits.

`model` is the catalogue in memory, `load` reads it from TOML, `shipped/` is the one that comes
with shedbook. A depot copies `shipped/`, edits it and hands the folder in.
"""
