"""Tables written out: CSV, JSON, Parquet and XLSX, the same values in every format."""

from __future__ import annotations

from analytics.exports.answer_file import FORMATS, write_answer

__all__ = ["FORMATS", "write_answer"]
