from __future__ import annotations

import json
import logging
import re
from collections.abc import Callable
from typing import Any

import pytest
from flask.testing import FlaskClient

from analytics import answers
from analytics.answer import Answer
from analytics.errors import EstimateError
from analytics.planning.versions import Versions
from analytics.scope import Scope
from analytics.store import Store
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from dashboard.serving import page_call, part_call
from dashboard.urls import page_url
from tests.dashboard import made_up
from tests.dashboard.conftest import ODD_NAME
from tests.dashboard.drawn import ids, page, part, post, texts
from tests.planning.hand_made import INPUTS, plan

pytestmark = pytest.mark.usefixtures("made_up_answers")
Client = Callable[..., FlaskClient]
COMPONENT = PAGES["component"].sections
MADE_UP = (
    "mtbf", "recurrence", "month", "survival", "mcf", "mtbf_depot", "mtbf_position", "chains",
)  # fmt: skip


def test_list_of_components_of_an_empty_store_says_what_to_do(make_client: Client) -> None:
    client = make_client()
    assert "Nothing has been handed in yet" in part(client, FACTS, "/components")
    shown = page(client, "/components")
    assert "Diesel engine" in shown
    assert "Fuel injector" in shown


def test_component_page_has_heading_positions_and_a_place_for_every_part(
    make_client: Client,
) -> None:
    drawn = post(make_client(), page_call("/component/injector"))
    shown = " ".join(texts(drawn))
    assert "Fuel injector" in shown
    assert "16 on each locomotive of class Alder" in shown
    places = [found["name"] for found in ids(drawn) if dict(found).get("type") == "part"]
    assert sorted(places) == sorted([FACTS, *COMPONENT])


def test_safety_component_says_so(make_client: Client) -> None:
    assert "Safety component" in page(make_client(), page_url("component", ODD_NAME))


@pytest.mark.parametrize("name", MADE_UP)
def test_section_is_drawn_with_figure_table_and_command(make_client: Client, name: str) -> None:
    drawn = post(make_client(), part_call(name, "/component/injector", "?class=Alder"))
    shown = " ".join(texts(drawn))
    if name == "chains":
        assert "Take along" in shown
    else:
        assert f"{name}-graph" in ids(drawn)
        assert "Show as table" in shown
    assert "Rests on 731 failures, 48 locomotives" in shown
    assert "--component injector" in shown
    assert "--class Alder" in shown


def test_figure_has_words_for_those_who_cannot_see_it(make_client: Client) -> None:
    drawn = json.dumps(post(make_client(), part_call("survival", "/component/injector")))
    assert '"role": "img"' in drawn
    assert '"aria-label": "How long does one last? Half of them' in drawn


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?clock=furlongs", "clock cannot be"),
        ("?level=2", "level cannot be"),
        ("?since=yesterday", "since cannot be"),
        ("?since=2025-01-01&until=2024-01-01", "The period is empty"),
        ("?class=Aldr", "nearest: Alder"),
        ("?depot=Nowhere", "depot 'Nowhere' is not known"),
        ("?defect=melted", "defect 'melted' is not known"),
    ],
)
def test_bad_query_falls_back_with_a_message(make_client: Client, query: str, said: str) -> None:
    client = make_client()
    shown = part(client, FACTS, "/component/injector", query)
    assert said in shown
    drawn = part(client, "mtbf", "/component/injector", query)
    assert "runs" in drawn
    assert "engine hours" in drawn


def test_unknown_query_words_are_ignored(make_client: Client) -> None:
    client, query = make_client(), "?utm=1&component=other&x[]=%00"
    assert "fell-back" not in str(post(client, part_call(FACTS, "/component/injector", query)))
    drawn = part(client, "mtbf", "/component/injector", query)
    assert drawn == part(client, "mtbf", "/component/injector")
    assert "--component injector" in drawn


@pytest.mark.parametrize("path", ["/component/injectr", "/component/fuel%20injectors"])
def test_unknown_component_has_its_own_page_with_nearest_names(
    make_client: Client, path: str
) -> None:
    shown = page(make_client(), path)
    assert "No such component" in shown
    assert "Did you mean" in shown
    assert "Fuel injector" in shown


def test_name_with_blank_slash_and_umlaut_has_a_page(make_client: Client) -> None:
    client = make_client()
    path = page_url("component", ODD_NAME)
    assert client.get(path).status_code == 200
    assert ODD_NAME in page(client, path)
    assert "Half of them" in part(client, "survival", path)


def test_unknown_path_is_a_page_and_a_404(make_client: Client) -> None:
    client = make_client()
    assert client.get("/elsewhere").status_code == 404
    assert "There is no such page" in page(client, "/elsewhere")


def test_part_of_an_unknown_component_is_empty(make_client: Client) -> None:
    assert part(make_client(), "mtbf", "/component/nothing") == ""


def test_what_cannot_be_answered_is_a_sentence_in_its_section(
    make_client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_reader: object, _scope: Scope, **_options: Any) -> Answer:
        raise EstimateError("too many positions are not stated.")

    monkeypatch.setattr(made_up, "survival", refuse)
    shown = part(make_client(), "survival", "/component/injector")
    assert "How long does one last?" in shown
    assert "too many positions are not stated." in shown


def test_error_is_logged_and_shown_with_the_same_reference(
    make_client: Client, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(answers, "QUESTIONS", {"survival": "tests.dashboard.made_up:missing"})
    with caplog.at_level(logging.ERROR):
        shown = part(make_client(), "survival", "/component/injector")
    reference = re.search(r"Reference for the log: (\w{8})\.", shown)
    assert reference is not None
    assert reference[1] in caplog.text
    assert "missing" in caplog.text
    assert "missing" not in shown


def test_every_id_of_a_callback_is_somewhere_in_the_layouts(
    make_client: Client, empty_store: Store
) -> None:
    Versions(empty_store.root).add(plan(), INPUTS, who="planner")  # else there is nothing to change
    client = make_client()
    drawn = ids(client.get("/_dash-layout").get_json())
    for path in ("/component/injector", "/records", "/berths"):
        drawn += ids(post(client, page_call(path)))
    plain = {found for found in drawn if isinstance(found, str)}
    kinds = {found["type"] for found in drawn if isinstance(found, dict)}
    for callback in client.get("/_dash-dependencies").get_json():
        for needed in [*callback["inputs"], *callback["state"], *outputs(callback)]:
            if needed["id"].startswith("{"):
                assert json.loads(needed["id"])["type"] in kinds
            else:
                assert needed["id"] in plain


def outputs(callback: dict[str, Any]) -> list[dict[str, str]]:
    if callback["no_output"]:
        return []
    return [{"id": callback["output"].rsplit(".", 1)[0]}]


def test_no_two_elements_of_a_page_share_an_id(make_client: Client) -> None:
    client = make_client()
    drawn = ids(client.get("/_dash-layout").get_json())
    drawn += ids(post(client, page_call("/component/injector")))
    for name in (FACTS, *COMPONENT):
        drawn += ids(post(client, part_call(name, "/component/injector")))
    written = [json.dumps(found, sort_keys=True) for found in drawn]
    assert len(set(written)) == len(written)


def test_answers_are_kept_only_when_asked_for(make_client: Client, empty_store: Any) -> None:
    part(make_client(cache=False), "mtbf", "/component/injector")
    assert not (empty_store.root / "cache").exists()
    part(make_client(cache=True), "mtbf", "/component/injector")
    assert (empty_store.root / "cache").exists()
