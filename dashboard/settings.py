"""The dashboard's few settings, read from the environment once, at the edge."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass

from analytics.errors import ShedbookError


@dataclass(frozen=True, slots=True)
class Settings:
    """How the pages are served.

    Attributes
    ----------
    language
        Language of the pages (`SHEDBOOK_LANGUAGE`); English where it has no words.
    threads
        Requests served at once (`SHEDBOOK_THREADS`).
    cache
        Whether answers are kept on disk in the store folder (`SHEDBOOK_CACHE`, `off` to stop it).
    """

    language: str = "en"
    threads: int = 8
    cache: bool = True

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] = os.environ) -> Settings:
        """Read the settings.

        Raises
        ------
        ShedbookError
            If SHEDBOOK_THREADS is not a whole number from 1 to 64.
        """
        threads = environment.get("SHEDBOOK_THREADS", "8")
        if not threads.isdecimal() or not 1 <= int(threads) <= 64:
            raise ShedbookError(
                f"SHEDBOOK_THREADS must be a whole number from 1 to 64, but is {threads!r}."
            )
        return cls(
            language=environment.get("SHEDBOOK_LANGUAGE", "en"),
            threads=int(threads),
            cache=environment.get("SHEDBOOK_CACHE", "on").lower() not in ("off", "0", "no"),
        )
