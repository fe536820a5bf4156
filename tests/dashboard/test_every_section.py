"""Every section of every page, whichever there are: drawn on every store, and the command's equal.

Oracle of the figures: the command line, asked in the same process with the command that the section
itself prints. A section or page added to the registries is covered without a line here.
"""

from __future__ import annotations

import io
import math
import re
import shlex
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner
from flask.testing import FlaskClient
from python_calamine import CalamineWorkbook

from analytics.cli.main import shedbook
from analytics.store import Store
from dashboard.app import create_app
from dashboard.pages.berths import WHOLE
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from dashboard.sections.model import ROWS
from dashboard.sections.registry import SECTIONS
from dashboard.serving import page_call, part_call
from dashboard.settings import Settings
from dashboard.urls import SUBJECTS, data_url, parse_path
from tests.dashboard.drawn import find, links, post, texts
from tests.dashboard.stores import KINDS, make_store, paths_of

EVERY = [(page, name) for page, kind in PAGES.items() for name in kind.sections]
# What takes minutes is worked out only when asked for: see test_long_work.py.
AT_ONCE = [(page, name) for page, name in EVERY if not SECTIONS[name].long]
NARROWED = "?clock=days&counting=any&since=2025-03-01&until=2025-12-01&level=0.95"
WRONG = "Something went wrong"


@dataclass
class Site:
    """A store and a browserless client of its pages."""

    store: Store

    @cached_property
    def client(self) -> FlaskClient:
        client: FlaskClient = create_app(self.store, Settings()).server.test_client()
        return client

    @cached_property
    def paths(self) -> dict[str, str]:
        return paths_of(self.store)

    def page(self, page: str, query: str = "") -> list[Any]:
        return post(self.client, page_call(self.paths[page], query))

    def part(self, page: str, name: str, query: str = "") -> list[Any]:
        return post(self.client, part_call(name, self.paths[page], query))

    def answerable(self, page: str, name: str, query: str = "") -> str:
        """Return the query, with one locomotive named where a section is about one only."""
        refused = self.client.get(self.where(page, name, "csv", query)).status_code == 400
        locomotive = parse_path(self.paths["locomotive"]).name
        return f"?{query.lstrip('?')}&locomotive={locomotive}" if refused else query

    def where(self, page: str, name: str, form: str, query: str) -> str:
        return data_url(name, form, place=parse_path(self.paths[page]), query=query)

    def data(self, page: str, name: str, form: str, query: str = "") -> bytes:
        answer = self.client.get(self.where(page, name, form, query))
        assert answer.status_code == 200, answer.get_data(as_text=True)
        assert answer.headers["Content-Disposition"].endswith(f'.{form}"')
        return bytes(answer.get_data())


@pytest.fixture(scope="module", params=KINDS)
def site(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Site:
    kind = request.param
    if kind == "demo":
        return Site(request.getfixturevalue("demo_store"))
    return Site(make_store(kind, tmp_path_factory.mktemp("site")))


@pytest.fixture(scope="module")
def railway(demo_store: Store) -> Site:
    return Site(demo_store)


@pytest.mark.parametrize("page", PAGES)
def test_frame_of_every_page_has_a_heading_and_a_place_for_each_part(site: Site, page: str) -> None:
    drawn = site.page(page)
    assert WRONG not in " ".join(texts(drawn))
    assert len(find(drawn, "H1")) == 1
    there = {
        one["props"]["id"]["name"] for kind in ("Div", "Section") for one in places(drawn, kind)
    }
    if not there:  # the page of a name that a store without any does not have
        assert "No such" in " ".join(texts(drawn))
        return
    needed = {FACTS, *PAGES[page].sections}
    assert needed <= there
    assert not (there - needed) & set(SECTIONS)  # what else there is belongs to the page's foot


def places(drawn: list[Any], kind: str) -> list[Any]:
    return [one for one in find(drawn, kind) if isinstance(one["props"].get("id"), dict)]


@pytest.mark.parametrize(("page", "name"), EVERY)
def test_every_section_is_drawn_on_every_store(site: Site, page: str, name: str) -> None:
    drawn = site.part(page, name)
    if not find(site.page(page), "Section"):  # a locomotive of a store without any
        assert drawn == []
        return
    shown = " ".join(texts(drawn))
    assert WRONG not in shown
    heading, reading = find(drawn, "H2"), find(drawn, "P")[0]
    assert [one["props"]["id"] for one in heading] == [f"{name}-title"]
    assert re.match(r"\S.*[.?]$", " ".join(texts(reading)), re.DOTALL)
    assert not re.search(r"\bnan\b|\bNaT\b|<NA>|\bNone\b(?! of)|\binf\b|Message\(", shown)
    rows = [row for body in find(drawn, "Tbody") for row in find(body, "Tr")]
    assert len(rows) <= ROWS
    if find(drawn, "Graph"):
        assert rows, "a figure has a table twin"


@pytest.mark.parametrize(("page", "name"), EVERY)
def test_empty_store_has_no_figure(empty_site: Site, page: str, name: str) -> None:
    drawn = empty_site.part(page, name)
    assert find(drawn, "Graph") == []
    assert WRONG not in " ".join(texts(drawn))


@pytest.fixture(scope="module")
def empty_site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return Site(make_store("empty", tmp_path_factory.mktemp("empty")))


@pytest.mark.parametrize("query", ["", NARROWED], ids=["all", "narrowed"])
@pytest.mark.parametrize(("page", "name"), AT_ONCE)
def test_data_of_every_section_is_what_its_command_prints(
    railway: Site, page: str, name: str, query: str
) -> None:
    query = railway.answerable(page, name, query)
    drawn = railway.part(page, name, query)
    commands = [" ".join(texts(code)) for code in find(drawn, "Code")]
    taken = railway.data(page, name, "csv", query)
    if not commands:  # nothing to show, so nothing to take along
        assert find(drawn, "Tbody") == []
        assert taken.count(b"\n") == 1
        return
    assert taken == printed(commands[0], railway.store)
    assert_same(pd.read_parquet(io.BytesIO(railway.data(page, name, "parquet", query))), taken)
    book = CalamineWorkbook.from_filelike(io.BytesIO(railway.data(page, name, "xlsx", query)))
    assert len(book.sheet_names) == 2
    assert book.sheet_names[1] == "basis"
    basis = dict(row[:2] for row in book.get_sheet_by_name("basis").to_python())
    assert {"question", "counting", "clock", "fingerprint"} <= set(basis)
    rows = book.get_sheet_by_name(book.sheet_names[0]).to_python()
    assert len(rows) == len(pd.read_csv(io.BytesIO(taken), dtype=str)) + 1


def printed(command: str, store: Store) -> bytes:
    program, *arguments = shlex.split(command)
    assert program == "shedbook"
    done = CliRunner().invoke(
        shedbook,
        [*arguments, "--format", "csv", "--store", str(store.root)],
        catch_exceptions=False,
    )
    assert done.exit_code == 0, done.output
    return done.stdout_bytes


def assert_same(frame: pd.DataFrame, csv: bytes) -> None:
    """Compare a Parquet file's frame with a CSV: the same columns, rows and values."""
    text = pd.read_csv(io.BytesIO(csv), dtype=str, keep_default_na=False)
    assert list(frame.columns) == list(text.columns)
    assert len(frame) == len(text)
    for column in frame.columns:
        values = frame[column]
        if pd.api.types.is_bool_dtype(values.dtype):
            assert values.astype(str).tolist() == text[column].tolist()
        elif pd.api.types.is_numeric_dtype(values.dtype):
            ours = np.array([float(one or "nan") for one in text[column]])
            # A CSV has every digit, so nothing is lost on the way.
            np.testing.assert_array_equal(values.to_numpy(dtype=float, na_value=math.nan), ours)
        elif pd.api.types.is_datetime64_any_dtype(values.dtype):
            assert (
                pd.to_datetime(text[column]).tolist() == values.tolist()
                or (pd.to_datetime(text[column]).isna() == values.isna()).all()
            )
        else:
            ours = ["" if one is None or one is pd.NA else str(one) for one in values]
            assert (
                ours == text[column].str.removeprefix("'").tolist() or ours == text[column].tolist()
            )


@pytest.mark.parametrize(("page", "name"), AT_ONCE)
def test_every_heading_sorts_its_table(railway: Site, page: str, name: str) -> None:
    drawn = railway.part(page, name)
    plain = body(drawn)
    assert body(railway.part(page, name, f"?sort.{name}=no-such-column&page.{name}=0")) == plain
    for head in find(drawn, "Th"):
        (href,) = links(head)
        turned = railway.part(page, name, href)
        assert WRONG not in " ".join(texts(turned)), href
        at, way = sorted_by(turned)
        assert texts(find(turned, "Th")[at]) == texts(head)
        shown = values_of(turned, at)
        assert shown == sorted(shown, reverse=way == "descending"), href
        assert len(shown) <= ROWS


def body(drawn: list[Any]) -> list[list[str]]:
    rows = [row for part in find(drawn, "Tbody") for row in find(part, "Tr")]
    return [[" ".join(texts(cell)) for cell in find(row, "Td")] for row in rows]


def sorted_by(drawn: list[Any]) -> tuple[int, str]:
    ways = [head["props"]["aria-sort"] for head in find(drawn, "Th")]
    (at,) = [place for place, way in enumerate(ways) if way != "none"]
    return at, ways[at]


def values_of(drawn: list[Any], at: int) -> list[Any]:
    """Return one column as shown, without what is undefined: numbers, or texts in small letters."""
    kind = find(drawn, "Th")[at]["props"]["className"]
    shown = [row[at] for row in body(drawn) if row[at] != "\u2013"]
    if kind != "number":
        return [text.casefold() for text in shown]
    shown = ["0" if text.startswith("under ") else text for text in shown]  # a very small p
    return [float(re.sub(r"[\u202f\u00a0%]", "", text).replace("\u2212", "-")) for text in shown]


@pytest.mark.parametrize(("page", "name"), AT_ONCE)
def test_long_table_is_turned_page_by_page_until_its_end(
    railway: Site, page: str, name: str
) -> None:
    query = railway.answerable(page, name)
    drawn = railway.part(page, name, query)
    rows = railway.data(page, name, "csv", query).count(b"\n") - 1
    turning = [one for one in find(drawn, "P") if one["props"].get("className") == "turning"]
    if not turning:
        assert rows <= ROWS or name in CUT
        return
    told = " ".join(texts(turning)).replace("\u202f", "")
    pages, counted = (int(n) for n in re.findall(r"of (\d+), (\d+) rows?\b", told)[0])
    (following,) = links(turning)
    second = railway.part(page, name, following)
    assert body(second) != body(drawn)
    last = railway.part(page, name, f"?{query.lstrip('?')}&page.{name}={pages}")
    assert 1 <= len(body(last)) <= ROWS
    beyond = railway.part(page, name, f"?{query.lstrip('?')}&page.{name}={pages + 7}")
    assert body(beyond) == body(last)
    assert (pages - 1) * len(body(drawn)) + len(body(last)) == counted


CUT: tuple[str, ...] = ()
"""Sections whose table is shorter than their data."""


@pytest.mark.parametrize("page", PAGES)
def test_every_link_of_a_page_leads_to_a_page(railway: Site, page: str) -> None:
    drawn = [*railway.page(page), *railway.part(page, FACTS, "?depot=Nowhere&clock=days")]
    for name in PAGES[page].sections:
        drawn += railway.part(page, name)
    hrefs = set(links(drawn)) | set(links(railway.client.get("/_dash-layout").get_json()))
    assert hrefs
    for href in sorted(hrefs):
        if href.startswith("/data/"):
            name = href.split("?")[0].split("/")[-1].split(".")[0]
            assert name in (*PAGES[page].sections, WHOLE)
        elif href.startswith("/"):
            assert leads(railway, href.partition("?")[0]), href
        else:
            assert href[0] in "?#", href


_LEADS: dict[str, bool] = {}


def leads(railway: Site, path: str) -> bool:
    """Tell whether a path leads to a page with a heading that does not deny it."""
    if path not in _LEADS:
        said = " ".join(texts(find(post(railway.client, page_call(path)), "H1")))
        found = railway.client.get(path).status_code == 200
        _LEADS[path] = found and bool(said) and not re.search("no such", said, re.IGNORECASE)
    return _LEADS[path]


@pytest.mark.parametrize("page", SUBJECTS)
def test_unknown_name_has_a_page_of_its_own_without_sections(railway: Site, page: str) -> None:
    drawn = post(railway.client, page_call(f"/{page}/no-such-thing"))
    assert "No such" in " ".join(texts(find(drawn, "H1")))
    assert find(drawn, "Section") == []
    for name in PAGES[page].sections:
        assert post(railway.client, part_call(name, f"/{page}/no-such-thing")) == []
        gone = railway.client.get(f"/data/{name}.csv?at=/{page}/no-such-thing")
        assert gone.status_code == 404
