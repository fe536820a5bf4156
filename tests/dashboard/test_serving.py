from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from analytics import answers
from analytics.errors import ShedbookError
from analytics.store import Store
from dashboard.app import create_app, serve
from dashboard.pages.registry import PAGES
from dashboard.serving import listen, warm
from dashboard.settings import Settings
from dashboard.urls import HOME
from tests.dashboard.drawn import part


@pytest.mark.usefixtures("made_up_answers")
def test_serving_until_ready_ends_with_the_address(empty_store: Store) -> None:
    told: list[str] = []
    serve(empty_store, port=18_050, until_ready=True, on_ready=told.append)
    (address,) = told
    assert address.startswith("http://127.0.0.1:18")


def test_warming_leaves_nothing_of_the_first_page_to_be_computed(empty_store: Store) -> None:
    app = create_app(empty_store, Settings())
    server = listen(app.server, host="127.0.0.1", port=18_250, threads=2)
    warming = warm(server, empty_store)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    warming.join(timeout=60)
    server.task_dispatcher.shutdown()
    server.trigger.pull_trigger(server.close)
    thread.join(timeout=10)
    assert not warming.is_alive()
    kept = set((empty_store.root / "cache").rglob("*.parquet"))
    assert kept
    for name in PAGES["today"].sections:
        part(app.server.test_client(), name, HOME)
    assert set((empty_store.root / "cache").rglob("*.parquet")) == kept


def test_warming_that_fails_is_silent(empty_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_asked: object) -> None:
        raise ConnectionRefusedError

    monkeypatch.setattr("dashboard.serving.fetch_first_page", refuse)
    server = listen(
        create_app(empty_store, Settings()).server, host="127.0.0.1", port=18_350, threads=1
    )
    warm(server, empty_store).join(timeout=10)
    server.close()


@pytest.mark.usefixtures("made_up_answers")
def test_a_failing_part_fails_the_start(
    empty_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(answers, "QUESTIONS", {"mtbf": "tests.dashboard.made_up:missing"})
    with pytest.raises(ShedbookError, match="a part of it failed"):
        serve(empty_store, port=18_150, until_ready=True)


def test_first_free_port_from_the_asked_one_is_taken(empty_store: Store) -> None:
    server = create_app(empty_store, Settings()).server
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        listening = listen(server, host="127.0.0.1", port=port, threads=1)
        try:
            assert port < int(listening.effective_port) < port + 100
        finally:
            listening.close()


def test_no_free_port_is_said(empty_store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("dashboard.serving._bind", lambda _address, _port: None)
    server = create_app(empty_store, Settings()).server
    with pytest.raises(ShedbookError, match="no port from 8050 to 8149 is free"):
        listen(server, host="127.0.0.1", port=8050, threads=1)


def test_importing_and_making_an_app_needs_no_writable_folder(tmp_path: Path) -> None:
    code = (
        "import os, threading, dashboard.app;"
        "assert threading.active_count() == 1; assert os.listdir('.') == []"
    )
    environment = {**os.environ, "HOME": "/nonexistent", "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, env=environment, check=False)
    assert done.returncode == 0


def test_settings_are_read_from_the_environment() -> None:
    read = Settings.from_environment(
        {"SHEDBOOK_LANGUAGE": "hu", "SHEDBOOK_THREADS": "3", "SHEDBOOK_CACHE": "off"}
    )
    assert read == Settings(language="hu", threads=3, cache=False)
    assert Settings.from_environment({}) == Settings()


@pytest.mark.parametrize("threads", ["0", "many", "65", "-1", "1.5"])
def test_bad_number_of_threads_is_a_sentence(threads: str) -> None:
    with pytest.raises(ShedbookError, match="whole number from 1 to 64"):
        Settings.from_environment({"SHEDBOOK_THREADS": threads})
