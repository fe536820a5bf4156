"""METHODS 0 and 5 read a second time: slow, row by row, in plain Python.

The program does not use it: `test_against_plain.py` compares it with what the SQL files make of the
same rows. Oracle: the written definitions (METHODS 0, INPUTS "Keys, dates, positions", DEVELOPERS
"Definitions settled here"). Where at one instant the text leaves a choice, the choice is said here.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from itertools import pairwise
from math import inf
from statistics import median
from typing import Any

from analytics.catalogue.model import Catalogue
from tests.history.world import World

Row = dict[str, Any]
Span = tuple[datetime, datetime]
Place = tuple[str, int | None]  # component and position; None = not stated
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
RANKS = {"remark": 1, "rectify": 2, "withhold": 3, "in-service": 4}
STRENGTH = {"checked": 0, "restore": 1, "renew": 2}
# What comes first at one instant (METHODS 0, ties). A failure found leads; then what has no position,
# so that a renewal with a position at that instant leaves a known start.
FAILURE, BREAK, CLOSING, WORK = range(4)


@dataclass(frozen=True)
class Closing:
    """What ended a finding or renewed a part; `part` = (age known, age) of what was fitted."""

    at: datetime
    timed: bool
    effect: str
    by: str
    part: tuple[bool, float]


@dataclass(frozen=True)
class Finding:
    place: Place
    defect: str
    found_at: datetime
    rank: int
    own_closing: Closing | None
    row: Row


@dataclass
class Episode:
    """Findings of one position and one defect that run into one another."""

    place: Place
    defect: str
    findings: list[Finding] = field(default_factory=list)
    closings: list[Closing | None] = field(default_factory=list)

    @property
    def found_at(self) -> datetime:
        return self.findings[0].found_at

    @property
    def closing(self) -> Closing | None:
        """The last one; of several at that instant the one that did most."""
        known = [c for c in self.closings if c is not None]
        ended = len(known) == len(self.closings)
        return max(known, key=lambda c: (c.at, STRENGTH[c.effect])) if ended else None

    @property
    def closed_at(self) -> datetime:
        return self.closing.at if self.closing else datetime.max

    @property
    def effect(self) -> str | None:
        return self.closing.effect if self.closing else None

    @property
    def rank(self) -> int:
        return max(f.rank for f in self.findings)

    @property
    def first_rank(self) -> int:
        return max(f.rank for f in self.findings if f.found_at == self.found_at)

    @property
    def down_hours(self) -> float:
        lasting = [(f.found_at, (f.row.get("down_hours") or 0) * HOUR) for f in self.findings]
        return sum((b - a) / HOUR for a, b in union((at, at + hours) for at, hours in lasting))

    def counted(self, rule: str) -> bool:
        if rule == "rectified":
            return self.rank >= 2 or self.effect in ("renew", "restore")
        return self.rank >= {"any": 1, "withheld": 3, "in-service": 4}[rule]


@dataclass(frozen=True)
class Life:
    """One stretch at risk of one life, as in `history.life`."""

    component: str
    position: int
    start_at: datetime
    start_known: bool
    start_age: float
    entry_at: datetime
    lower_at: datetime
    exit_at: datetime
    failed: bool
    end_kind: str
    inspected: bool


def union(spans: Iterable[Span]) -> list[Span]:
    """Join spans that overlap or touch."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def cut(span: Span, instants: Iterable[datetime]) -> list[Span]:
    inner = sorted({t for t in instants if span[0] < t < span[1]})
    return list(pairwise([span[0], *inner, span[1]]))


def inside(spans: Iterable[Span], at: datetime) -> bool:
    return any(a <= at <= b for a, b in spans)


def fitted(row: Row) -> tuple[bool, float]:
    """Return whether the age of the part fitted is known, and the age: new unless said otherwise."""
    condition, age = row.get("condition_in"), row.get("age_in")
    if condition == "used" and age is not None:
        return (True, age)
    return (condition in (None, "new", "overhauled"), 0)


@dataclass
class Plain:
    """One locomotive of a World, with every part of its history."""

    world: World
    catalogue: Catalogue
    locomotive: str

    @cached_property
    def register(self) -> Row:
        return self.rows("locomotives")[0]

    def rows(self, table: str) -> list[Row]:
        return [r for r in self.world.rows.get(table, []) if r["locomotive"] == self.locomotive]

    def told(self, table: str, instant: str) -> list[Row]:
        """Return the rows inside the observation, both ends included."""
        spans = [self.observation] if self.observation else []
        return [r for r in self.rows(table) if inside(spans, r[instant])]

    @cached_property
    def records_begin(self) -> datetime | None:
        instants = {"inspections": "inspected_at", "findings": "found_at", "work": "done_at"}
        instants |= {"readings": "read_at"}
        told = [row[at] for table, at in instants.items() for row in self.rows(table)]
        return self.register.get("records_from") or min(told, default=None)

    @cached_property
    def observation(self) -> Span | None:
        instants = {"inspections": "inspected_at", "findings": "found_at", "work": "done_at"}
        instants |= {"coverage": "covered_until"}
        known = [row[at] for table, at in instants.items() for row in self.rows(table)]
        end = self.register.get("in_service_to") or max(known, default=None)
        if self.records_begin is None or end is None:
            return None
        begin = max(self.register.get("in_service_from") or datetime.min, self.records_begin)
        return (begin, end) if begin <= end else None

    @property
    def first_life_known(self) -> bool:
        entered, begin = self.register.get("in_service_from"), self.records_begin
        grace = self.catalogue.first_life_grace_days * DAY
        return None not in (entered, begin) and begin <= entered + grace

    @cached_property
    def inspected(self) -> list[datetime]:
        return sorted({r["inspected_at"] for r in self.told("inspections", "inspected_at")})

    @property
    def median_interval(self) -> timedelta | None:
        waits = [b - a for a, b in pairwise(self.inspected)]
        return median(waits) if waits else None

    @cached_property
    def out_of_use(self) -> list[Span]:
        rows = self.rows("out_of_use")
        return union((r["from_at"], r["to_at"] or datetime.max) for r in rows)

    @cached_property
    def in_use(self) -> list[Span]:
        if self.observation is None:
            return []
        if self.observation[0] == self.observation[1]:
            return [self.observation]
        edges = [edge for span in self.out_of_use for edge in span]
        used = cut(self.observation, edges)
        return [s for s in used if not any(a <= s[0] and s[1] <= b for a, b in self.out_of_use)]

    @cached_property
    def gaps(self) -> list[Span]:
        """Return the waits for an inspection that were too long."""
        longest = max(14 * DAY, 4 * (self.median_interval or timedelta(0)))
        waits = [wait for span in self.in_use for wait in cut(span, self.inspected)]
        return [(a, b) for a, b in waits if self.inspected and b - a > longest]

    @cached_property
    def at_risk(self) -> list[Span]:
        waits = [wait for span in self.in_use for wait in cut(span, self.inspected)]
        return union(wait for wait in waits if wait not in self.gaps)

    def depot(self, at: datetime) -> str | None:
        rows = self.told("inspections", "inspected_at")
        seen = [r for r in rows if r["inspected_at"] <= at and r.get("depot") is not None]
        latest = max(seen, key=lambda r: r["inspected_at"], default=self.register)
        return latest.get("depot")

    def exposure(self) -> dict[tuple[datetime, str | None], timedelta]:
        """Return time at risk by first of the month and depot."""
        months = [datetime(y, m, 1) for y in range(2023, 2026) for m in range(1, 13)]
        total: dict[tuple[datetime, str | None], timedelta] = {}
        for span in self.at_risk:
            for a, b in cut(span, [*months, *self.inspected]):
                key = (max(m for m in months if m <= a), self.depot(a))
                total[key] = total.get(key, timedelta(0)) + (b - a)
        return total

    def places(self, row: Row) -> list[Place]:
        """Return the component and each position that a row means."""
        component, written = row["component"], row.get("position")
        count = self.catalogue.positions(self.register["class"], component)
        if written is None:
            return [(component, 1 if count == 1 else None)]
        numbers: set[int] = set()
        for part in (f"1-{count}" if written == "all" else written).replace(",", ";").split(";"):
            first, _, last = part.strip().partition("-")
            numbers.update(range(int(first), int(last or first) + 1))
        return [(component, number) for number in sorted(numbers)]

    @cached_property
    def findings(self) -> list[Finding]:
        made = []
        for row in sorted(self.told("findings", "found_at"), key=lambda r: r["found_at"]):
            action, closed_at = row.get("action"), row.get("closed_at")
            effect = self.catalogue.actions[action].effect if action else None
            blank = "rectify" if effect in ("renew", "restore") else "remark"
            closing = None
            if effect != "defer" and (effect or closed_at):
                at = (
                    (closed_at, row["closed_timed"])
                    if closed_at
                    else (row["found_at"], row["found_timed"])
                )
                closing = Closing(*at, effect or "checked", "finding", fitted(row))
            about = (row["defect"], row["found_at"], RANKS[row.get("severity") or blank], closing)
            made += [Finding(place, *about, row) for place in self.places(row)]
        return made

    @cached_property
    def renewals(self) -> list[tuple[Place, Closing]]:
        return [
            (place, Closing(row["done_at"], row["done_timed"], "renew", "work", fitted(row)))
            for row in self.told("work", "done_at")
            if self.catalogue.actions[row["action"]].effect == "renew"
            for place in self.places(row)
        ]

    def closes(self, finding: Finding) -> Closing | None:
        """Return what closes a finding: its own row, else what comes first after it."""
        if finding.own_closing:
            return finding.own_closing
        key = (finding.place, finding.defect)
        ends = [f.own_closing for f in self.findings if (f.place, f.defect) == key]
        ends += [renewal for place, renewal in self.renewals if place == finding.place]
        later = [c for c in ends if c is not None and c.at >= finding.found_at]
        return min(later, key=lambda c: (c.at, c.by == "work"), default=None)

    @cached_property
    def episodes(self) -> list[Episode]:
        made: list[Episode] = []
        running: dict[tuple[Place, str], Episode] = {}
        for finding in self.findings:
            key = (finding.place, finding.defect)
            if key not in running or running[key].closed_at < finding.found_at:
                running[key] = Episode(*key)
                made.append(running[key])
            running[key].findings.append(finding)
            running[key].closings.append(self.closes(finding))
        return made

    def neighbours(self, episode: Episode) -> list[Episode]:
        return [e for e in self.episodes if e.place == episode.place and e is not episode]

    def open_at_found(self, episode: Episode) -> bool:
        at = episode.found_at
        return any(e.found_at < at <= e.closed_at for e in self.neighbours(episode))

    def previous(self, episode: Episode, *, same_defect: bool) -> datetime | None:
        """Return the position's latest closing before an episode was found."""
        kept = [
            e for e in self.neighbours(episode) if not same_defect or e.defect == episode.defect
        ]
        return max((e.closed_at for e in kept if e.closed_at < episode.found_at), default=None)

    def censored_at(self, episode: Episode) -> datetime | None:
        """Return when a closing stops being followed; None where it was not seen at risk."""
        at = episode.closed_at
        followed = [b for a, b in self.at_risk if a <= at <= b]
        planned = [c.at for place, c in self.renewals if place == episode.place and c.at > at]
        return min([max(followed), *planned]) if followed else None

    def seen(self, component: str) -> list[datetime]:
        """Return when a component was looked at; nothing where no inspection sees it."""
        kinds = self.catalogue.components[component].seen_by
        rows = self.told("inspections", "inspected_at")
        looks = [r["inspected_at"] for r in rows if r["kind"] in kinds]
        found = [f.found_at for f in self.findings if f.place[0] == component]
        return sorted(looks + found) if looks else []

    def turns(self, component: str, position: int, rule: str) -> list[tuple[Any, ...]]:
        """Return (instant, order, rank or nothing, what, episode or closing) of one position."""
        turns: list[tuple[Any, ...]] = []
        for e in (e for e in self.episodes if e.place[0] == component):
            counted, renewed = e.counted(rule), e.effect == "renew"
            if e.place[1] is None:
                turns += [(e.found_at, BREAK, 0, "position-not-stated", None)] * counted
                turns += [(e.closed_at, BREAK, 0, "position-not-stated", None)] * renewed
            elif e.place[1] == position and renewed and counted:
                turns.append((e.found_at, FAILURE, -e.first_rank, "failure", e))
                turns.append((e.closed_at, CLOSING, 0, "renewed", e))
            elif e.place[1] == position and renewed:
                turns.append((e.closed_at, CLOSING, 1, "renewed-uncounted", e.closing))
        for place, c in self.renewals:
            if place == (component, position):
                turns.append((c.at, WORK, 0, "renewed-by-plan", c))
            elif place == (component, None):
                turns.append((c.at, BREAK, 0, "position-not-stated", None))
        return sorted(turns, key=lambda turn: turn[:3])

    def lives(self, rule: str) -> list[Life]:
        made: list[Life] = []
        for component in self.catalogue.components if self.observation else []:
            for position in range(self.catalogue.positions(self.register["class"], component)):
                made += self.lives_of(component, position + 1, rule)
        return made

    def lives_of(self, component: str, position: int, rule: str) -> list[Life]:
        assert self.observation
        begin, end = self.observation
        start: tuple[datetime, bool, float] | None = (begin, False, 0)
        if self.catalogue.components[component].in_service and self.first_life_known:
            start = (self.register["in_service_from"], True, 0)
        made: list[Life] = []
        waiting: list[Episode] = []  # failures whose own renewal is still to come: no life runs
        for at, _, _, what, detail in self.turns(component, position, rule):
            if at > end:
                break
            if start is not None and what != "renewed":
                exact = what != "failure" or detail.first_rank == 4
                made += self.pieces((component, position, *start), at, what, exact=exact)
                start = (at, *(detail.part if isinstance(detail, Closing) else (False, 0)))
            if what == "failure":
                waiting, start = [*waiting, detail], None
            elif what == "renewed":
                waiting.remove(detail)
                start = None if waiting else (at, *detail.closing.part)
        if start is not None:
            seen = self.seen(component)
            last = max((s for s in seen if s <= end), default=end)
            made += self.pieces((component, position, *start), last, "end", exact=True)
        return made

    def pieces(
        self, life: tuple[str, int, datetime, bool, float], at: datetime, kind: str, *, exact: bool
    ) -> list[Life]:
        """Return the stretches in use of one life that ends at `at`."""
        made, seen = [], self.seen(life[0])
        for a, b in self.in_use:
            entry, leave = max(a, life[2]), min(b, at)
            failed = kind == "failure" and at == leave
            lower = leave
            if failed and not exact and seen:
                lower = max([entry, *(s for s in seen if s < at)])
            ended = kind if at == leave else "pause"
            if entry < leave:
                made.append(Life(*life, entry, lower, leave, failed, ended, bool(seen)))
        return made

    def counter(self, clock: str) -> list[tuple[datetime, int, bool]]:
        """Return (instant, sum over replaced counters in 0.1 h or km, whether it is a new one)."""
        column, unit = {"hours": ("engine_hours", 10), "km": ("km", 1)}[clock]
        entered = self.register.get("in_service_from") or (self.observation or (None,))[0]
        rows = [(r["read_at"], r.get(column)) for r in self.rows("usage")]
        rows += [(r["inspected_at"], r.get(column)) for r in self.rows("inspections")]
        rows += [(entered, self.register.get(f"{column}_at_start"))]
        read = sorted({(at, value) for at, value in rows if None not in (at, value)})
        alone = [
            here
            for before, here, after in zip(read, read[1:], read[2:], strict=False)
            if before[1] <= after[1] and not before[1] <= here[1] <= after[1]
        ]
        read = [r for r in read if r not in alone]
        limits = self.catalogue.classes[self.register["class"]]
        most = {"hours": limits.max_hours_per_day, "km": limits.max_km_per_day}[clock] or inf
        made: list[tuple[datetime, int, bool]] = []
        offset = last = 0.0
        for (at, value), after in zip(read, [*read[1:], None], strict=False):
            new = value < last
            rises = after is not None and after[1] >= value
            if new and not (rises and value <= most * ((at - made[-1][0]) / DAY)):
                continue  # neither the same counter nor a new one
            offset, last = offset + (last if new else 0), value
            made.append((at, round((offset + value) * unit), new))
        return made

    def clock_at(self, clock: str, at: datetime) -> float | None:
        """Return a counter at an instant, in 0.1 h or km; None where it is not known."""
        read = self.counter(clock)
        for (a, low, _), (b, high, _) in pairwise(read):
            if a <= at <= b and (b - a <= 62 * DAY or at in (a, b)):
                return (
                    low
                    if at == a
                    else high
                    if at == b
                    else low + (high - low) * ((at - a) / (b - a))
                )
        if not read or not timedelta(0) <= at - read[-1][0] <= 31 * DAY:
            return None
        last_at, last = read[-1][:2]
        paces = [
            (high - low) / ((b - a) / DAY)
            for (a, low, _), (b, high, _) in pairwise(read)
            if b > last_at - 90 * DAY
        ]
        if at == last_at:
            return last
        return last + median(paces) * ((at - last_at) / DAY) if paces else None
