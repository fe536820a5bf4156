"""Plans: which locomotive gets which berth, on which day, for which jobs, and why.

`inputs` says what a planner hands in, `problem` is the same in arrays for the solver, `plan` what
comes out. Forecasts come from `analytics.answers`; nothing there imports this.
"""
