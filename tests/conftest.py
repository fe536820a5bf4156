"""What every test gets: one time zone, one seed for Hypothesis, no home folder to write to."""

from __future__ import annotations

import os
import time

from hypothesis import settings

os.environ["TZ"] = "UTC"
if hasattr(time, "tzset"):
    time.tzset()

settings.register_profile("steady", derandomize=True, deadline=None)
settings.load_profile("steady")
