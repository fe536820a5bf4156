"""An answer that takes minutes: offered, worked out in the background, then shown."""

from __future__ import annotations

import time
from typing import Any

import pytest
from flask.testing import FlaskClient

from analytics import answers
from analytics.answer import Answer
from analytics.errors import EstimateError
from analytics.scope import Scope
from analytics.store import Store
from analytics.store.jobs import Jobs
from dashboard.app import create_app
from dashboard.settings import Settings
from dashboard.urls import data_url, parse_path
from tests.dashboard import made_up
from tests.dashboard.drawn import part

PAGE, ASKED = "/next-weeks", "?work.backtest=1"
pytestmark = pytest.mark.usefixtures("made_up_answers")


def quick(_reader: object, scope: Scope, **_options: Any) -> Answer:
    return made_up.repeats(None, scope)


def refused(_reader: object, _scope: Scope, **_options: Any) -> Answer:
    raise EstimateError("the record is too short.")


@pytest.fixture
def client(empty_store: Store) -> FlaskClient:
    made: FlaskClient = create_app(empty_store, Settings()).server.test_client()
    return made


def answer_by(monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    place = f"tests.dashboard.test_long_work:{name}"
    monkeypatch.setattr(answers, "QUESTIONS", {**answers.QUESTIONS, "backtest": place})
    monkeypatch.setattr("analytics.answers.OPTIONS", {**answers.OPTIONS, "backtest": ()})


def shown_in_the_end(client: FlaskClient) -> str:
    for _ in range(100):
        shown = part(client, "backtest", PAGE, ASKED)
        if "Load the page again" not in shown:
            return shown
        time.sleep(0.1)
    return "never over"


def test_it_is_only_offered_until_it_is_asked_for(client: FlaskClient, empty_store: Store) -> None:
    assert "Work it out" in part(client, "backtest", PAGE)
    assert Jobs(empty_store.root).latest() == []
    address = data_url("backtest", "csv", place=parse_path(PAGE), query="")
    refused = client.get(address)
    assert refused.status_code == 400
    assert "not worked out yet" in refused.get_data(as_text=True)


def test_it_is_worked_out_once_and_then_shown_without_asking(
    client: FlaskClient, empty_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer_by(monkeypatch, "quick")
    assert "chains came back" in shown_in_the_end(client)
    assert "chains came back" in part(client, "backtest", PAGE)
    assert [job.state for job in Jobs(empty_store.root).latest()] == ["done"]


def test_a_refusal_is_told_in_its_own_words(
    client: FlaskClient, empty_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    answer_by(monkeypatch, "refused")
    assert "the record is too short." in shown_in_the_end(client)
    assert len(Jobs(empty_store.root).latest()) == 1  # loading the page again asks no more
