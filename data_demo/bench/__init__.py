"""Measurements: what takes how long, printed with what it is compared with."""
