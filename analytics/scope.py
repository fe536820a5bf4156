"""What is asked: clock, counting rule, period, filters and confidence level, in one frozen value.

A Scope is read from keyword arguments, command options or a URL query by one parser each, and
printed back to the last two. It knows nothing of the data: `check` compares its names with a
Catalogue and with the lists of locomotives and depots handed to it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlencode

from analytics.answer import Message
from analytics.errors import ScopeError, unknown_name

if TYPE_CHECKING:
    from analytics.catalogue.model import Catalogue

CLOCKS = ("hours", "km", "days")
COUNTING_RULES = ("any", "rectified", "withheld", "in-service")
GROUPS = ("component", "class", "depot", "locomotive", "position", "defect", "action", "month")
NAME_FILTERS = ("classes", "depots", "locomotives", "components", "defects")
# The word of each filter on the command line and in a URL is the singular of the field.
OPTION_OF = {
    "classes": "class",
    "depots": "depot",
    "locomotives": "locomotive",
    "components": "component",
    "defects": "defect",
}


@dataclass(frozen=True, slots=True)
class Scope:
    """The question's frame; every figure carries one.

    Attributes
    ----------
    clock
        `hours` (engine hours), `km` or `days`; None means the clock that the catalogue gives the
        components in scope when they share one, else `days`.
    counting
        Which episodes count as failures (METHODS: any, rectified, withheld, in-service).
    since, until
        Half-open period [since, until) in local time as handed in; None is unbounded. `until`
        only shortens: it never extends what is known.
    classes, depots, locomotives, components, defects
        Names to keep; empty keeps all.
    level
        Confidence level of every interval, between 0.5 and 0.999.
    """

    clock: str | None = None
    counting: str = "rectified"
    since: datetime | None = None
    until: datetime | None = None
    classes: tuple[str, ...] = ()
    depots: tuple[str, ...] = ()
    locomotives: tuple[str, ...] = ()
    components: tuple[str, ...] = ()
    defects: tuple[str, ...] = ()
    level: float = 0.90

    @classmethod
    def of(cls, **asked: Any) -> Scope:
        """Build a Scope from keyword arguments.

        Filters take one name or a sequence under the field's name or its singular
        (`component="fuel-injector"`); `since` and `until` take a date, a datetime or ISO text.

        Raises
        ------
        ScopeError
            For an unknown keyword or a value that no Scope can hold.
        """
        plural = {option: field for field, option in OPTION_OF.items()}
        values: dict[str, Any] = {}
        for word, value in asked.items():
            field = plural.get(word.rstrip("_"), word)
            if field not in _PARSERS:
                raise ScopeError(unknown_name("scope word", word, _PARSERS))
            if value is not None:
                values[field] = _PARSERS[field](value)
        scope = cls(**values)
        if scope.since and scope.until and scope.since >= scope.until:
            raise ScopeError(
                f"since must lie before until, but since is {_iso(scope.since)!r} and until is "
                f"{_iso(scope.until)!r}."
            )
        return scope

    @classmethod
    def from_query(cls, query: str | Mapping[str, Any]) -> tuple[Scope, tuple[Message, ...]]:
        """Read a URL query; a value that cannot be read falls back to its default, with a message.

        Words that are not the Scope's are ignored: they belong to the page.
        """
        given = parse_qs(query.lstrip("?")) if isinstance(query, str) else dict(query)
        plural = {option: field for field, option in OPTION_OF.items()}
        scope, trouble = cls(), []
        for word, raw in given.items():
            field = plural.get(word, word)
            if field not in _PARSERS or word in NAME_FILTERS:
                continue
            value = raw if field in NAME_FILTERS else _first(raw)
            try:
                scope = replace(scope, **{field: _PARSERS[field](value)})
            except ScopeError:
                trouble.append(Message("scope.bad_value", word=word, value=str(_first(raw))))
        if scope.since and scope.until and scope.since >= scope.until:
            trouble.append(Message("scope.empty_period"))
            scope = replace(scope, since=None, until=None)
        return scope, tuple(trouble)

    def to_query(self) -> str:
        """Print the Scope as a URL query without the leading `?`; defaults are left out."""
        return urlencode(self._pairs())

    def to_options(self) -> list[str]:
        """Print the Scope as command options; defaults are left out."""
        return [part for word, value in self._pairs() for part in (f"--{word}", value)]

    def check(
        self, catalogue: Catalogue, *, locomotives: Iterable[str], depots: Iterable[str]
    ) -> None:
        """Refuse names that neither the catalogue nor the record knows.

        Raises
        ------
        ScopeError
            Naming the first unknown name of each kind, with the nearest known ones.
        """
        known: dict[str, Iterable[str]] = {
            "classes": catalogue.classes,
            "components": catalogue.components,
            "defects": {d for c in catalogue.components.values() for d in c.defects},
            "locomotives": locomotives,
            "depots": depots,
        }
        problems = []
        for field in NAME_FILTERS:
            names = set(known[field])
            missing = [name for name in getattr(self, field) if name not in names]
            if missing:
                problems.append(unknown_name(OPTION_OF[field], missing[0], names))
        if problems:
            raise ScopeError(" ".join(problems))

    def resolve_clock(self, catalogue: Catalogue) -> Scope:
        """Return the Scope with its clock filled in from the components in scope."""
        if self.clock is not None:
            return self
        names = self.components or tuple(catalogue.components)
        clocks = {catalogue.components[name].clock for name in names}
        return replace(self, clock=clocks.pop() if len(clocks) == 1 else "days")

    def _pairs(self) -> list[tuple[str, str]]:
        pairs: list[tuple[str, str]] = []
        for field in fields(self):
            value = getattr(self, field.name)
            if value == field.default:
                continue
            word = OPTION_OF.get(field.name, field.name)
            many = value if field.name in NAME_FILTERS else (value,)
            pairs += [(word, _iso(v) if isinstance(v, datetime) else str(v)) for v in many]
        return pairs


def parse_groups(text: str | Sequence[str]) -> tuple[str, ...]:
    """Read `--by component,class` into a tuple of group names.

    Raises
    ------
    ScopeError
        For a word that is not a group, or one named twice.
    """
    words = text.split(",") if isinstance(text, str) else list(text)
    groups = tuple(word.strip() for word in words if word.strip())
    for group in groups:
        if group not in GROUPS:
            raise ScopeError(unknown_name("group", group, GROUPS))
    if len(set(groups)) < len(groups):
        raise ScopeError(f"--by names a group twice: {', '.join(groups)}.")
    return groups


def _first(value: Any) -> Any:
    return value[0] if isinstance(value, (list, tuple)) and value else value


def _iso(instant: datetime) -> str:
    text = instant.isoformat(sep="T")
    return text.removesuffix("T00:00:00")


def _choice(word: str, allowed: tuple[str, ...]) -> Callable[[Any], str]:
    def parse(value: Any) -> str:
        if value not in allowed:
            raise ScopeError(f"{word} must be one of {', '.join(allowed)}, but is {value!r}.")
        return str(value)

    return parse


def _instant(value: Any) -> datetime:
    if isinstance(value, datetime):
        return value
    try:
        instant = datetime.fromisoformat(str(value).strip())
    except ValueError as error:
        raise ScopeError(
            f"a date must read like 2026-05-31 or 2026-05-31T06:30, but is {value!r}."
        ) from error
    if instant.tzinfo is not None:
        raise ScopeError(f"times are local, without a zone, but {value!r} has one.")
    return instant


def _names(value: Any) -> tuple[str, ...]:
    many = [value] if isinstance(value, str) else list(value)
    return tuple(dict.fromkeys(str(name).strip() for name in many if str(name).strip()))


def _level(value: Any) -> float:
    try:
        level = float(value)
    except (TypeError, ValueError):
        level = float("nan")
    if not 0.5 <= level <= 0.999:
        raise ScopeError(f"level must lie between 0.5 and 0.999, but is {value!r}.")
    return level


_PARSERS: dict[str, Callable[[Any], Any]] = {
    "clock": _choice("clock", CLOCKS),
    "counting": _choice("counting", COUNTING_RULES),
    "since": _instant,
    "until": _instant,
    "classes": _names,
    "depots": _names,
    "locomotives": _names,
    "components": _names,
    "defects": _names,
    "level": _level,
}
