"""Finds a Chromium for the tests that drive a browser: the environment's, else the system's."""

from __future__ import annotations

import os
import shutil

VARIABLE = "SHEDBOOK_CHROMIUM"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")


def find_chromium() -> str | None:
    """Return the path of a Chromium, or None where there is none.

    Raises
    ------
    FileNotFoundError
        If the environment names one that does not exist.
    """
    named = os.environ.get(VARIABLE)
    if named:
        found = shutil.which(named)
        if found is None:
            raise FileNotFoundError(f"{VARIABLE} names {named!r}, which cannot be run.")
        return found
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def must_have_browser() -> bool:
    """Tell whether a missing browser is a failure: on the machine that decides, it is."""
    return os.environ.get("CI", "").lower() == "true"
