"""METHODS 0 and 5 read a second time: slow, row by row, in plain Python.

The program does not use it: `test_against_plain.py` compares it with what the SQL files make of the
same rows. Oracle: the written definitions (METHODS 0, INPUTS "Keys, dates, positions", DEVELOPERS
"Definitions settled here"). Where the text leaves a choice, this reading takes: a failure is exact
by the severity it was found with; a renewal or a break is itself a look at the part, so only a life
that runs to the record's end is cut back to the last look; where no inspection sees a component, it
is as if there were none; work at the instant of a closing does not end its window.
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
Start = tuple[datetime, bool, float]  # when a life began, whether its age was known then, the age
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
RANKS = {"remark": 1, "rectify": 2, "withhold": 3, "in-service": 4}
STRENGTH = {"checked": 0, "restore": 1, "renew": 2}
INSTANTS = {"inspections": "inspected_at", "findings": "found_at", "work": "done_at"}
# What comes first at one instant (METHODS 0, ties). A failure leads, then what has no position: a
# renewal with a position at that instant leaves a known start.
FAILURE, BREAK, CLOSING, WORK = range(4)


@dataclass(frozen=True)
class Closing:
    at: datetime
    timed: bool
    effect: str
    action: str | None
    by: str
    part: tuple[bool, float]  # fitted: whether its age is known, the age


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
    place: Place
    defect: str
    findings: list[Finding] = field(default_factory=list)
    closings: list[Closing | None] = field(default_factory=list)

    @property
    def found_at(self) -> datetime:
        return self.findings[0].found_at

    @property
    def closing(self) -> Closing | None:
        """The last one; of several at that instant the one that did most, then the later found."""
        if None in self.closings:
            return None
        known = [(c, f) for c, f in zip(self.closings, self.findings, strict=True) if c]
        last = max(
            known, key=lambda k: (k[0].at, STRENGTH[k[0].effect], k[1].found_at, bool(k[0].action))
        )
        return last[0]

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
    def down_hours(self) -> float | None:
        if all(f.row.get("down_hours") is None for f in self.findings):
            return None
        lasting = [(f.found_at, (f.row.get("down_hours") or 0) * HOUR) for f in self.findings]
        return sum((b - a) / HOUR for a, b in union((at, at + hours) for at, hours in lasting))

    def counted(self, rule: str) -> bool:
        if rule == "rectified":
            return self.rank >= 2 or self.effect in ("renew", "restore")
        return self.rank >= {"any": 1, "withheld": 3, "in-service": 4}[rule]


@dataclass(frozen=True)
class Life:
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
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            start, end = joined[-1][0], max(end, joined.pop()[1])
        joined.append((start, end))
    return joined


def cut(span: Span, instants: Iterable[datetime]) -> list[Span]:
    inner = sorted({t for t in instants if span[0] < t < span[1]})
    return list(pairwise([span[0], *inner, span[1]]))


def fitted(row: Row) -> tuple[bool, float]:
    condition, age = row.get("condition_in"), row.get("age_in")
    if condition == "used" and age is not None:
        return (True, age)
    return (condition in (None, "new", "overhauled"), 0)


@dataclass
class Plain:
    """One locomotive of a World with every part of its history."""

    world: World
    catalogue: Catalogue
    locomotive: str

    def rows(self, table: str) -> list[Row]:
        return [r for r in self.world.rows.get(table, []) if r["locomotive"] == self.locomotive]

    def told(self, table: str) -> list[Row]:
        """Rows inside the observation, both ends included, in order of time."""
        if self.observation is None:
            return []
        (begin, end), at = self.observation, INSTANTS[table]
        return sorted((r for r in self.rows(table) if begin <= r[at] <= end), key=lambda r: r[at])

    # When records begin and end, what of that is at risk

    @cached_property
    def register(self) -> Row:
        return self.rows("locomotives")[0]

    @cached_property
    def observation(self) -> Span | None:
        known = [row[at] for table, at in INSTANTS.items() for row in self.rows(table)]
        covered = [row["covered_until"] for row in self.rows("coverage")]
        end = self.register.get("in_service_to") or max(known + covered, default=None)
        if self.records_begin is None or end is None:
            return None
        begin = max(self.register.get("in_service_from") or datetime.min, self.records_begin)
        return (begin, end) if begin <= end else None

    @property
    def records_begin(self) -> datetime | None:
        told = [row[at] for table, at in INSTANTS.items() for row in self.rows(table)]
        told += [row["read_at"] for row in self.rows("readings")]
        return self.register.get("records_from") or min(told, default=None)

    @property
    def first_life_known(self) -> bool:
        entered, begin = self.register.get("in_service_from"), self.records_begin
        grace = self.catalogue.first_life_grace_days * DAY
        return None not in (entered, begin) and begin <= entered + grace

    @cached_property
    def inspected(self) -> list[datetime]:
        return sorted({r["inspected_at"] for r in self.told("inspections")})

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
        idle = self.out_of_use
        used = cut(self.observation, [edge for span in idle for edge in span])
        return [s for s in used if not any(a <= s[0] and s[1] <= b for a, b in idle)]

    @cached_property
    def at_risk(self) -> list[Span]:
        """Stretches in use without the waits for an inspection that were too long."""
        longest = max(14 * DAY, 4 * (self.median_interval or timedelta(0)))
        waits = [wait for span in self.in_use for wait in cut(span, self.inspected)]
        return union((a, b) for a, b in waits if b - a <= longest or not self.inspected)

    def depot(self, at: datetime) -> str | None:
        told = self.told("inspections")
        seen = [r["depot"] for r in told if r["inspected_at"] <= at and r.get("depot")]
        return seen[-1] if seen else self.register.get("depot")

    def exposure(self) -> dict[tuple[datetime, str | None], timedelta]:
        """Time at risk by first of the month and depot."""
        months = [datetime(year, n, 1) for year in range(2023, 2026) for n in range(1, 13)]
        total: dict[tuple[datetime, str | None], timedelta] = {}
        for span in self.at_risk:
            for a, b in cut(span, [*months, *self.inspected]):
                key = (max(m for m in months if m <= a), self.depot(a))
                total[key] = total.get(key, timedelta(0)) + (b - a)
        return total

    # Findings, renewals by work, episodes and their closings

    def places(self, row: Row) -> list[Place]:
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
        for row in self.told("findings"):
            action, closed_at = row.get("action"), row.get("closed_at")
            effect = self.catalogue.actions[action].effect if action else None
            blank = "rectify" if effect in ("renew", "restore") else "remark"
            closing, timed = None, row["closed_timed" if closed_at else "found_timed"]
            if effect != "defer" and (effect or closed_at):
                how = (effect or "checked", action, "finding", fitted(row))
                closing = Closing(closed_at or row["found_at"], timed, *how)
            about = (row["defect"], row["found_at"], RANKS[row.get("severity") or blank], closing)
            made += [Finding(place, *about, row) for place in self.places(row)]
        return made

    @cached_property
    def renewals(self) -> list[tuple[Place, Closing]]:
        made = []
        for row in self.told("work"):
            how = ("renew", row["action"], "work", fitted(row))
            if self.catalogue.actions[row["action"]].effect == "renew":
                closing = Closing(row["done_at"], row["done_timed"], *how)
                made += [(place, closing) for place in self.places(row)]
        return made

    def closes(self, finding: Finding) -> Closing | None:
        """What closes a finding: its own row, else what comes first after it."""
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

    def others(self, episode: Episode) -> list[Episode]:
        return [e for e in self.episodes if e.place == episode.place and e is not episode]

    def open_at_found(self, episode: Episode) -> bool:
        at = episode.found_at
        return any(e.found_at < at <= e.closed_at for e in self.others(episode))

    def previous(self, episode: Episode, *, same_defect: bool) -> datetime | None:
        """The position's latest closing before an episode was found."""
        kept = [e for e in self.others(episode) if not same_defect or e.defect == episode.defect]
        return max((e.closed_at for e in kept if e.closed_at < episode.found_at), default=None)

    def censored_at(self, episode: Episode) -> datetime | None:
        """When a closing stops being followed; None where it was not seen at risk."""
        at = episode.closed_at
        followed = [b for a, b in self.at_risk if a <= at <= b]
        planned = [c.at for place, c in self.renewals if place == episode.place and c.at > at]
        return min([max(followed), *planned]) if followed else None

    # Lives

    def seen(self, component: str) -> list[datetime]:
        """When a component was looked at; nothing where no inspection sees it."""
        kinds = self.catalogue.components[component].seen_by
        looks = [r["inspected_at"] for r in self.told("inspections") if r["kind"] in kinds]
        found = [f.found_at for f in self.findings if f.place[0] == component]
        return sorted(looks + found) if looks else []

    def turns(self, component: str, position: int, rule: str) -> list[tuple[Any, ...]]:
        """(instant, order, order among equals, what, episode or closing) of one position."""
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
        start: Start | None = (begin, False, 0)
        if self.catalogue.components[component].in_service and self.first_life_known:
            start = (self.register["in_service_from"], True, 0)
        made: list[Life] = []
        waiting: list[Episode] = []  # failures whose own renewal is still to come: no life runs
        for at, _, _, what, detail in self.turns(component, position, rule):
            if start and what != "renewed" and at <= end:
                exact = what != "failure" or detail.first_rank == 4
                made += self.pieces((component, position, *start), at, what, exact=exact)
                start = (at, *(detail.part if isinstance(detail, Closing) else (False, 0)))
            if what == "failure":
                waiting, start = [*waiting, detail], None
            elif what == "renewed":
                waiting.remove(detail)
                start = None if waiting else (at, *detail.closing.part)
        if start:
            last = max((s for s in self.seen(component) if s <= end), default=end)
            made += self.pieces((component, position, *start), last, "end", exact=True)
        return made

    def pieces(
        self, life: tuple[str, int, datetime, bool, float], at: datetime, kind: str, *, exact: bool
    ) -> list[Life]:
        """The stretches in use of one life that ends at `at`; a failure lies after `lower_at`."""
        made, seen = [], self.seen(life[0])
        for a, b in self.in_use:
            entry, leave = max(a, life[2]), min(b, at)
            failed = kind == "failure" and at == leave
            interval = failed and seen and not exact
            lower = max([entry, *(s for s in seen if s < at)]) if interval else leave
            ended = kind if at == leave else "pause"
            if entry < leave:
                made.append(Life(*life, entry, lower, leave, failed, ended, bool(seen)))
        return made

    # Counters

    @cached_property
    def counters(self) -> dict[str, list[tuple[datetime, int, bool]]]:
        return {"hours": self.counter("engine_hours", 10), "km": self.counter("km", 1)}

    def counter(self, column: str, unit: int) -> list[tuple[datetime, int, bool]]:
        """(instant, sum over replaced counters in tenths of an hour or km, whether a new one)."""
        limits = self.catalogue.classes[self.register["class"]]
        most = (
            (limits.max_km_per_day or inf) if column == "km" else (limits.max_hours_per_day or 24)
        )
        rows = [(r["read_at"], r.get(column)) for r in self.rows("usage")]
        rows += [(r["inspected_at"], r.get(column)) for r in self.rows("inspections")]
        entered = self.register.get("in_service_from") or (self.observation or [None])[0]
        rows += [(entered, self.register.get(f"{column}_at_start"))]
        read = sorted({row for row in rows if None not in row})
        lone = {
            here
            for (_, low), here, (_, high) in zip(read, read[1:], read[2:], strict=False)
            if low <= high and not low <= here[1] <= high
        }
        read = [r for r in read if r not in lone]
        made: list[tuple[datetime, int, bool]] = []
        offset = last = 0.0
        for (at, value), after in zip(read, [*read[1:], (None, -inf)], strict=False):
            new = value < last
            if new and (after[1] < value or value > most * ((at - made[-1][0]) / DAY)):
                continue  # neither the same counter nor a new one
            offset, last = offset + (last if new else 0), value
            made.append((at, round((offset + value) * unit), new))
        return made

    def clock_at(self, clock: str, at: datetime) -> float | None:
        """A counter at an instant; None where it is not known."""
        read = {when: value for when, value, _ in self.counters[clock]}
        if not read or at in read:
            return read.get(at)
        paces = [(a, b, (read[b] - read[a]) / ((b - a) / DAY)) for a, b in pairwise(read)]
        last = max(read)
        if last < at <= last + 31 * DAY:
            recent = [pace for _, b, pace in paces if b > last - 90 * DAY]
            return read[last] + median(recent) * ((at - last) / DAY) if recent else None
        known = [(a, pace) for a, b, pace in paces if a < at < b <= a + 62 * DAY]
        return read[known[0][0]] + known[0][1] * ((at - known[0][0]) / DAY) if known else None
