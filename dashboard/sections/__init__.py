"""shedbook."""
