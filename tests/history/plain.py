"""The definitions of METHODS 0 and 5 read a second time: slow, row by row, in plain Python.

Nothing here is used by the program. `tests/history/test_against_plain.py` compares it, table by
table, with what the SQL files make of the same rows. Oracle: the written definitions (METHODS 0,
INPUTS "Keys, dates, positions", DEVELOPERS "Definitions settled here"), not the SQL.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property
from itertools import pairwise
from statistics import median
from typing import Any

from analytics.catalogue.model import Catalogue
from tests.history.world import World

Row = dict[str, Any]
Span = tuple[datetime, datetime]
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
RANKS = {"remark": 1, "rectify": 2, "withhold": 3, "in-service": 4}
RULES = ("any", "rectified", "withheld", "in-service")
# The order of what happens at one instant (METHODS 0, ties); a place that is named comes last.
FINDING, UNPLACED_FINDING, UNPLACED_CLOSING, CLOSING, UNPLACED_WORK, WORK = range(6)
STRENGTH = {"checked": 0, "restore": 1, "renew": 2}


@dataclass(frozen=True)
class Part:
    """What was fitted: whether its age is known, and the age in the component's clock."""

    known: bool
    age: float


@dataclass(frozen=True)
class Closing:
    at: datetime
    timed: bool
    effect: str
    action: str | None
    by: str
    part: Part


@dataclass(frozen=True)
class Finding:
    component: str
    position: int | None
    defect: str
    found_at: datetime
    found_timed: bool
    rank: int
    effect: str | None
    own_closing: Closing | None
    row: Row


@dataclass
class Episode:
    """Findings of one position and one defect that run into one another."""

    component: str
    position: int | None
    defect: str
    findings: list[Finding] = field(default_factory=list)
    closings: list[Closing | None] = field(default_factory=list)

    @property
    def found_at(self) -> datetime:
        return self.findings[0].found_at

    @property
    def closing(self) -> Closing | None:
        known = [c for c in self.closings if c is not None]
        if len(known) < len(self.closings):
            return None
        return max(known, key=lambda c: (c.at, STRENGTH[c.effect]))

    @property
    def closed_at(self) -> datetime | None:
        return self.closing.at if self.closing else None

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
        down = [(f.found_at, timedelta(hours=f.row.get("down_hours") or 0)) for f in self.findings]
        return sum((b - a) / HOUR for a, b in union((at, at + hours) for at, hours in down))

    def counted(self, rule: str) -> bool:
        if rule == "rectified":
            return self.rank >= 2 or self.effect in ("renew", "restore")
        return self.rank >= {"any": 1, "withheld": 3, "in-service": 4}[rule]

    def open_until(self, at: datetime) -> bool:
        """Tell whether it was found before `at` and not closed before it."""
        return self.found_at < at and (self.closed_at is None or at <= self.closed_at)


@dataclass(frozen=True)
class Reading:
    at: datetime
    value: int
    reset: bool


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


def union(spans: Iterable[Span]) -> list[Span]:
    """Join spans that overlap or touch."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def without(whole: Span, holes: Iterable[Span]) -> list[Span]:
    """Cut holes out of a span; what is left has a length."""
    left, start = [], whole[0]
    for a, b in union(holes):
        left.append((start, min(a, whole[1])))
        start = max(start, b)
    left.append((start, whole[1]))
    return [(a, b) for a, b in left if a < b]


def cut(span: Span, instants: Iterable[datetime]) -> list[Span]:
    inside = sorted({t for t in instants if span[0] < t < span[1]})
    return list(pairwise([span[0], *inside, span[1]]))


def inside(spans: Iterable[Span], at: datetime) -> bool:
    return any(a <= at <= b for a, b in spans)


def midnight(at: datetime) -> datetime:
    return at.replace(hour=0, minute=0, second=0, microsecond=0)


@dataclass
class Plain:
    """One locomotive of a World with every figure of its history."""

    world: World
    catalogue: Catalogue
    locomotive: str

    def rows(self, table: str) -> list[Row]:
        return [r for r in self.world.rows.get(table, []) if r["locomotive"] == self.locomotive]

    def within(self, table: str, instant: str) -> list[Row]:
        """Return the rows inside the observation, both ends included."""
        if self.observation is None:
            return []
        return [r for r in self.rows(table) if inside([self.observation], r[instant])]

    # Records begin and end

    @cached_property
    def register(self) -> Row:
        return self.rows("locomotives")[0]

    @cached_property
    def records_begin(self) -> datetime | None:
        told = [r["inspected_at"] for r in self.rows("inspections")]
        told += [r["found_at"] for r in self.rows("findings")]
        told += [r["done_at"] for r in self.rows("work")]
        told += [r["read_at"] for r in self.rows("readings")]
        return self.register.get("records_from") or min(told, default=None)

    @cached_property
    def observation(self) -> Span | None:
        known = [r["inspected_at"] for r in self.rows("inspections")]
        known += [r["found_at"] for r in self.rows("findings")]
        known += [r["done_at"] for r in self.rows("work")]
        known += [r["covered_until"] for r in self.rows("coverage")]
        end = self.register.get("in_service_to") or max(known, default=None)
        if self.records_begin is None or end is None:
            return None
        begin = max(self.register.get("in_service_from") or datetime.min, self.records_begin)
        return (begin, end) if begin <= end else None

    @cached_property
    def first_life_known(self) -> bool:
        entered = self.register.get("in_service_from")
        if entered is None or self.records_begin is None:
            return False
        return self.records_begin <= entered + self.catalogue.first_life_grace_days * DAY

    # Stretches at risk

    @cached_property
    def inspected(self) -> list[datetime]:
        return sorted({r["inspected_at"] for r in self.within("inspections", "inspected_at")})

    @cached_property
    def median_interval(self) -> timedelta | None:
        return median([b - a for a, b in pairwise(self.inspected)] or [None])

    @cached_property
    def out_of_use(self) -> list[Span]:
        if self.observation is None:
            return []
        rows = self.rows("out_of_use")
        spans = union((r["from_at"], r["to_at"] or datetime.max) for r in rows)
        return [s for s in spans if s[0] < self.observation[1] and s[1] > self.observation[0]]

    @cached_property
    def gaps(self) -> list[Span]:
        """Return stretches in use that waited too long for an inspection."""
        if not self.inspected:
            return []
        longest = max(14 * DAY, 4 * (self.median_interval or timedelta(0)))
        waits = [w for s in self.in_use for w in cut(s, self.inspected)]
        return [(a, b) for a, b in waits if b - a > longest]

    @cached_property
    def in_use(self) -> list[Span]:
        return without(self.observation, self.out_of_use) if self.observation else []

    @cached_property
    def at_risk(self) -> list[Span]:
        return [s for used in self.in_use for s in without(used, self.gaps)]

    def observed(self, at: datetime) -> bool:
        """Tell whether an instant lies inside a stretch at risk, its ends included."""
        holes = [*self.out_of_use, *self.gaps]
        within = self.observation is not None and inside([self.observation], at)
        return within and not any(a < at < b for a, b in holes)

    def depot(self, at: datetime) -> str | None:
        seen = [r for r in self.within("inspections", "inspected_at") if r["inspected_at"] <= at]
        seen = [r for r in seen if r.get("depot") is not None]
        if not seen:
            return self.register.get("depot")
        return max(seen, key=lambda r: r["inspected_at"])["depot"]

    def exposure(self) -> dict[tuple[datetime, str | None], timedelta]:
        """Return time at risk by first of the month and depot."""
        total: dict[tuple[datetime, str | None], timedelta] = {}
        for a, b in self.pieces_at_risk():
            key = (midnight(a).replace(day=1), self.depot(a))
            total[key] = total.get(key, timedelta(0)) + (b - a)
        return total

    def pieces_at_risk(self) -> list[Span]:
        """Cut the stretches at risk at months and inspections."""
        cuts = set(self.inspected)
        for a, b in self.at_risk:
            days = (midnight(a) + n * DAY for n in range((b - a).days + 2))
            cuts.update(day for day in days if day.day == 1)
        return [piece for span in self.at_risk for piece in cut(span, cuts)]

    # Findings, renewals, episodes

    def positions(self, component: str, written: str | None) -> list[int | None]:
        places = self.catalogue.positions(self.register["class"], component)
        if written is None:
            return [1] if places == 1 else [None]
        if written == "all":
            return list(range(1, places + 1))
        numbers: set[int] = set()
        for part in written.replace(",", ";").split(";"):
            first, _, last = part.strip().partition("-")
            numbers.update(range(int(first), int(last or first) + 1))
        return sorted(numbers)

    def effect(self, action: str | None) -> str | None:
        return self.catalogue.actions[action].effect if action else None

    def own_closing(self, row: Row) -> Closing | None:
        """Return how a finding's own row closes it, if it does."""
        effect, closed_at = self.effect(row.get("action")), row.get("closed_at")
        if effect == "defer" or (effect is None and closed_at is None):
            return None
        timed = row["closed_timed"] if closed_at else row["found_timed"]
        by = (effect or "checked", row.get("action"), "finding")
        return Closing(closed_at or row["found_at"], timed, *by, fitted(row))

    @cached_property
    def findings(self) -> list[Finding]:
        made = []
        for row in self.within("findings", "found_at"):
            effect = self.effect(row.get("action"))
            blank = "rectify" if effect in ("renew", "restore") else "remark"
            rank = RANKS[row.get("severity") or blank]
            found = (row["defect"], row["found_at"], row["found_timed"], rank, effect)
            for position in self.positions(row["component"], row.get("position")):
                closing = self.own_closing(row)
                made.append(Finding(row["component"], position, *found, closing, row))
        return sorted(made, key=lambda f: f.found_at)

    @cached_property
    def renewals(self) -> list[tuple[str, int | None, Closing]]:
        """Return component, position and closing of every renewal by work."""
        return [
            (row["component"], position, self.planned(row))
            for row in self.within("work", "done_at")
            if self.effect(row["action"]) == "renew"
            for position in self.positions(row["component"], row.get("position"))
        ]

    def planned(self, row: Row) -> Closing:
        timed = row["done_timed"]
        return Closing(row["done_at"], timed, "renew", row["action"], "work", fitted(row))

    def waited_for(self, finding: Finding) -> Closing | None:
        """Return what closes a finding: its own row, else what comes first after it."""
        if finding.own_closing:
            return finding.own_closing
        place = (finding.component, finding.position)
        ends = [
            (f.own_closing.at, CLOSING, -STRENGTH[f.own_closing.effect], f.own_closing)
            for f in self.findings
            if (f.component, f.position, f.defect) == (*place, finding.defect) and f.own_closing
        ]
        ends += [(c.at, WORK, 0, c) for part, at, c in self.renewals if (part, at) == place]
        later = [end for end in ends if end[0] >= finding.found_at]
        return min(later, key=lambda end: end[:3])[3] if later else None

    @cached_property
    def episodes(self) -> list[Episode]:
        made: list[Episode] = []
        running: dict[tuple[str, int | None, str], Episode] = {}
        for finding in self.findings:
            key = (finding.component, finding.position, finding.defect)
            episode = running.get(key)
            closed_at = episode.closed_at if episode else None
            if episode is None or (closed_at is not None and closed_at < finding.found_at):
                episode = running[key] = Episode(*key)
                made.append(episode)
            episode.findings.append(finding)
            episode.closings.append(self.waited_for(finding))
        return made

    def neighbours(self, episode: Episode) -> list[Episode]:
        place = (episode.component, episode.position)
        others = [e for e in self.episodes if (e.component, e.position) == place]
        return [e for e in others if e is not episode]

    def open_at_found(self, episode: Episode) -> bool:
        return any(e.open_until(episode.found_at) for e in self.neighbours(episode))

    def previous(self, episode: Episode, same_defect: bool) -> datetime | None:
        """Return the position's latest closing before an episode was found."""
        others = self.neighbours(episode)
        kept = [e for e in others if e.defect == episode.defect or not same_defect]
        closings = [e.closed_at for e in kept if e.closed_at is not None]
        return max((c for c in closings if c < episode.found_at), default=None)

    def censored_at(self, episode: Episode) -> datetime | None:
        """Return when a closing seen at risk stops being followed; None where it was not seen."""
        closing = episode.closing
        if closing is None or not self.observed(closing.at) or self.observation is None:
            return None
        place = (episode.component, episode.position)
        later = [c for part, at, c in self.renewals if (part, at) == place]
        # at one instant work comes after a closing, but a renewal does not end its own window
        starts = [c.at for c in later if (c.at, 1) > (closing.at, closing.by == "work")]
        starts += [a for a, b in [*self.out_of_use, *self.gaps] if a >= closing.at]
        return min([*starts, self.observation[1]])

    # Lives

    def seen(self, component: str) -> list[datetime]:
        """Return when the component was looked at: inspections that see it, findings of it."""
        kinds = self.catalogue.components[component].seen_by
        looks = [
            r["inspected_at"]
            for r in self.within("inspections", "inspected_at")
            if r["kind"] in kinds
        ]
        return sorted(looks + [f.found_at for f in self.findings if f.component == component])

    def lives(self, rule: str) -> list[Life]:
        made = []
        for component in self.catalogue.components:
            places = self.catalogue.positions(self.register["class"], component)
            if self.observation:
                for position in range(1, places + 1):
                    made += self.lives_of(component, position, rule)
        return made

    def first_start(self, component: str) -> tuple[datetime, Part]:
        assert self.observation
        if self.catalogue.components[component].in_service and self.first_life_known:
            return self.register["in_service_from"], Part(True, 0)
        return self.observation[0], Part(False, 0)

    def turns(self, component: str, position: int, rule: str) -> list[tuple[Any, ...]]:
        """Return (at, order at one instant, what, episode or part fitted) of one position."""
        turns: list[tuple[Any, ...]] = []
        for e in self.episodes:
            if e.component != component or e.position not in (position, None):
                continue
            counted, renewed = e.counted(rule), e.effect == "renew"
            if e.position is None and counted:
                turns.append((e.found_at, UNPLACED_FINDING, "position-not-stated", None))
            if e.position is None and renewed:
                turns.append((e.closed_at, UNPLACED_CLOSING, "position-not-stated", None))
            if e.position and counted and renewed:
                turns.append((e.found_at, FINDING, "failure", e))
                turns.append((e.closed_at, CLOSING, "renewed", e))
            elif e.position and renewed and e.closing:
                turns.append((e.closed_at, CLOSING, "renewed-uncounted", e.closing.part))
        for part, place, renewal in self.renewals:
            if part == component and place == position:
                turns.append((renewal.at, WORK, "renewed-by-plan", renewal.part))
            elif part == component and place is None:
                turns.append((renewal.at, UNPLACED_WORK, "position-not-stated", None))
        return sorted((t for t in turns if t[0] <= self.observation[1]), key=lambda t: t[:2])

    def lives_of(self, component: str, position: int, rule: str) -> list[Life]:
        made: list[Life] = []
        waiting: list[Episode] = []  # failures whose own renewal is still to come: no life runs
        start: tuple[datetime, Part] | None = self.first_start(component)

        def end(at: datetime, kind: str, episode: Episode | None = None) -> None:
            if start is not None:
                made.extend(self.pieces(component, position, start, at, kind, episode))

        for at, _, what, detail in self.turns(component, position, rule):
            if what == "failure":
                end(at, what, detail)
                waiting, start = [*waiting, detail], None
            elif what == "renewed":
                waiting.remove(detail)
                start = None if waiting else (at, detail.closing.part)
            elif start is not None:
                end(at, what)
                start = (at, detail or Part(False, 0))
        assert self.observation
        end(self.observation[1], "end")
        return made

    def pieces(
        self,
        component: str,
        position: int,
        start: tuple[datetime, Part],
        at: datetime,
        kind: str,
        failure: Episode | None,
    ) -> list[Life]:
        """Return the stretches at risk of one life that ends at `at`."""
        seen = self.seen(component)
        if failure is None and self.inspected:
            at = max((s for s in seen if s <= at), default=start[0])
        made = []
        for a, b in self.in_use:
            entry, leave = max(a, start[0]), min(b, at)
            if entry >= leave:
                continue
            failed, lower = failure is not None and at <= b, leave
            if failed and self.inspected and failure and failure.first_rank < 4:
                lower = max([entry, *(s for s in seen if s < at)])
            end_kind = kind if at <= b else "pause"
            age = (start[0], start[1].known, start[1].age)
            made.append(
                Life(component, position, *age, entry, lower, leave, failed, end_kind)
            )
        return made

    # Counters

    def counter(self, clock: str) -> list[Reading]:
        """Return the cleaned readings of one clock, summed up over replaced counters."""
        column, unit = {"hours": ("engine_hours", 10), "km": ("km", 1)}[clock]
        rows = [(r["read_at"], r.get(column)) for r in self.rows("usage")]
        rows += [(r["inspected_at"], r.get(column)) for r in self.rows("inspections")]
        read = sorted({(at, value) for at, value in rows if value is not None})
        read = [r for i, r in enumerate(read) if not wild(read, i)]
        limits = self.catalogue.classes[self.register["class"]]
        most = {"hours": limits.max_hours_per_day, "km": limits.max_km_per_day}[clock]
        made: list[Reading] = []
        offset, before = 0.0, None
        for i, (at, value) in enumerate(read):
            reset = before is not None and value < before[1]
            rising = i + 1 < len(read) and read[i + 1][1] >= value
            if reset and not (rising and possible(value, at - before[0], most)):
                continue
            offset += before[1] if reset else 0.0
            made.append(Reading(at, round((offset + value) * unit), reset))
            before = (at, value)
        return made

    def clock_at(self, readings: list[Reading], at: datetime) -> float | None:
        """Return a cumulative counter at an instant, None where it is not known."""
        for a, b in pairwise(readings):
            if a.at <= at <= b.at and (b.at - a.at <= 62 * DAY or at in (a.at, b.at)):
                return a.value + (b.value - a.value) * ((at - a.at) / (b.at - a.at))
        if not readings or not (timedelta(0) <= at - readings[-1].at <= 31 * DAY):
            return None
        last = readings[-1]
        recent = [r for r in readings if r.at >= last.at - 90 * DAY]
        rates = [(b.value - a.value) / ((b.at - a.at) / DAY) for a, b in pairwise(recent)]
        if at == last.at:
            return last.value
        return last.value + median(rates) * ((at - last.at) / DAY) if rates else None


def fitted(row: Row) -> Part:
    """Return the part that a renewal fits: new unless the row says otherwise."""
    condition, age = row.get("condition_in"), row.get("age_in")
    if condition == "used" and age is not None:
        return Part(True, age)
    return Part(condition in (None, "new", "overhauled"), 0)


def wild(read: list[tuple[datetime, float]], i: int) -> bool:
    """Tell a single reading off both neighbours, which themselves rise."""
    if not 0 < i < len(read) - 1:
        return False
    before, value, after = read[i - 1][1], read[i][1], read[i + 1][1]
    return before <= after and not before <= value <= after


def possible(value: float, elapsed: timedelta, most: float | None) -> bool:
    return most is None or value <= most * (elapsed / DAY)


def read_world(world: World, catalogue: Catalogue) -> list[Plain]:
    return [Plain(world, catalogue, r["locomotive"]) for r in world.rows["locomotives"]]
