"""The invented railway: drawn with known truth, written as files, handed in as a depot would.

`scenario` says what the railway is, `laws` how long its parts last, `truth` gathers both for
checking answers. `simulate` draws it (fleet, clocks, rounds, renewals, filters), `write` makes the
files, `build` the demo store.
"""
