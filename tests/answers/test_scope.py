"""Scope: read from keywords, options and queries, and printed back without loss.

Oracle: identity (a Scope printed and read again is the same), and by hand for refusals.
"""

from __future__ import annotations

import re
from datetime import datetime

import click
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from analytics.catalogue.load import load_text
from analytics.cli.options import scope_options, take_scope
from analytics.errors import ScopeError
from analytics.scope import CLOCKS, COUNTING_RULES, Scope, parse_groups
from tests.history.world import CATALOGUE

# Names as written: any text without surrounding blanks that a command line can carry.
names = (
    st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs")), min_size=1, max_size=12)
    .map(str.strip)
    .filter(bool)
)
several = st.lists(names, max_size=3, unique=True).map(tuple)
instants = st.none() | st.datetimes(datetime(2000, 1, 1), datetime(2049, 12, 31))


@st.composite
def scopes(draw: st.DrawFn) -> Scope:
    since, until = draw(instants), draw(instants)
    if since and until and since >= until:
        since, until = None, until
    return Scope(
        clock=draw(st.none() | st.sampled_from(CLOCKS)),
        counting=draw(st.sampled_from(COUNTING_RULES)),
        since=since,
        until=until,
        classes=draw(several),
        depots=draw(several),
        locomotives=draw(several),
        components=draw(several),
        defects=draw(several),
        level=draw(st.floats(0.5, 0.999)),
    )


@given(scopes())
def test_query_gives_the_scope_back(scope: Scope) -> None:
    assert Scope.from_query(scope.to_query()) == (scope, ())


@settings(max_examples=50)
@given(scopes())
def test_options_give_the_scope_back(scope: Scope) -> None:
    read: list[Scope] = []

    @click.command()
    @scope_options
    def command(**asked: object) -> None:
        read.append(take_scope(asked))

    # `--word=value`, since a name may begin with a dash
    options = scope.to_options()
    joined = [f"{word}={value}" for word, value in zip(options[::2], options[1::2], strict=True)]
    result = CliRunner().invoke(command, joined, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    assert read == [scope]


def test_keywords_take_singular_plural_and_text() -> None:
    scope = Scope.of(component="injector", classes=["Alder"], since="2024-01-01", level="0.8")
    assert scope == Scope(
        components=("injector",), classes=("Alder",), since=datetime(2024, 1, 1), level=0.8
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({"klass": "Alder"}, "scope word 'klass' is not known; nearest: class"),
        ({"clock": "h"}, "clock must be one of hours, km, days, but is 'h'"),
        ({"level": 1.0}, "level must lie between 0.5 and 0.999, but is 1.0"),
        ({"since": "31.5.2024"}, "a date must read like 2026-05-31"),
        ({"since": "2024-05-31T06:00+02:00"}, "times are local, without a zone"),
        ({"since": "2024-02-01", "until": "2024-02-01"}, "since must lie before until"),
    ],
)
def test_what_no_scope_can_hold_is_refused_in_words(asked: dict[str, object], said: str) -> None:
    with pytest.raises(ScopeError, match=re.escape(said)):
        Scope.of(**asked)


def test_bad_values_of_a_query_fall_back_with_a_message() -> None:
    scope, messages = Scope.from_query("clock=miles&level=2&component=injector&theme=dark")
    assert scope == Scope(components=("injector",))
    assert [dict(message.values)["word"] for message in messages] == ["clock", "level"]
    turned, said = Scope.from_query("since=2024-02-01&until=2024-01-01")
    assert turned == Scope()
    assert [message.key for message in said] == ["scope.empty_period"]


def test_clock_is_that_of_the_components_when_they_share_one() -> None:
    catalogue = load_text({"catalogue.toml": CATALOGUE})
    assert Scope.of(component="injector").resolve_clock(catalogue).clock == "hours"
    assert Scope.of(component=["injector", "filter"]).resolve_clock(catalogue).clock == "days"
    assert Scope.of(component="injector", clock="km").resolve_clock(catalogue).clock == "km"


def test_groups_are_read_in_order_and_refused_when_unknown_or_twice() -> None:
    assert parse_groups("component, class") == ("component", "class")
    with pytest.raises(ScopeError, match="group 'klass' is not known; nearest: class"):
        parse_groups("klass")
    with pytest.raises(ScopeError, match="names a group twice"):
        parse_groups("class,class")
