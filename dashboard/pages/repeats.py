"""What keeps coming back: chains of repeats, their gaps, what was done each time."""

from __future__ import annotations

from dashboard.pages.heads import lead
from dashboard.pages.kind import PageKind

PAGE = PageKind(lead("repeats"), ("chains", "steps", "recurrence"))
