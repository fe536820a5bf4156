"""History: SQL files that turn facts into counters, episodes, lives, closings and exposure."""

from __future__ import annotations

from analytics.history.build import HISTORY_VERSION, rebuild
from analytics.history.clock import clock_at

__all__ = ["HISTORY_VERSION", "clock_at", "rebuild"]
