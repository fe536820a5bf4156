"""Answers as files: the table alone, or with its basis beside it."""

from __future__ import annotations

from analytics.exports.write import FORMATS, write_answer

__all__ = ["FORMATS", "write_answer"]
