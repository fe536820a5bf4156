"""The store: facts as received and histories made from them, in immutable snapshot files."""

from __future__ import annotations

from analytics.store.snapshots import Reader, Store

__all__ = ["Reader", "Store"]
