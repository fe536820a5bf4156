"""The visits of a plan as iCalendar (RFC 5545): one all-day event a visit."""

from __future__ import annotations

from datetime import UTC, timedelta
from hashlib import sha256

from analytics.answer import Message, say
from analytics.planning.plan import Visit
from analytics.planning.versions import Version

_PRODUCT = "-//shedbook//berth plan//EN"


def calendar_of(version: Version) -> bytes:
    """Return the calendar file of one version.

    Conventions
    -----------
    An event runs from the first day of its visit to the day after the last, which DTEND names as
    RFC 5545 section 3.6.1 asks for (exclusive). Its UID follows from locomotive, first day and
    version, so that the same file taken in again brings nothing new.
    """
    from icalendar import Calendar  # only when a calendar is asked for

    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    for visit in version.plan.visits:
        calendar.add_component(_event(visit, version))
    content: bytes = calendar.to_ical()
    return content


def _event(visit: Visit, version: Version):  # type: ignore[no-untyped-def]  # of the library
    from icalendar import Event

    event = Event()
    key = f"{visit.locomotive}|{visit.first}|{visit.berth}|{version.number}"
    event.add("uid", f"{sha256(key.encode()).hexdigest()[:32]}@shedbook")
    event.add("dtstamp", version.made_at.astimezone(UTC))
    event.add("dtstart", visit.first)
    event.add("dtend", visit.last + timedelta(days=1))
    event.add("summary", f"{visit.locomotive}: {', '.join(job.name for job in visit.jobs)}")
    event.add("location", say(Message("plan.in_berth", berth=visit.berth)))
    event.add("description", visit.reason)
    return event
