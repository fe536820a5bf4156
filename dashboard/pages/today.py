"""What a morning needs: what came back, what is open, what is withheld, what changed."""

from __future__ import annotations

from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind

PAGE = PageKind(lead("today"), ("back", "open", "withheld", "changed", "trouble", "new_alarms"))
