from __future__ import annotations

import json
from pathlib import Path

import pytest

from analytics.store import Store
from dashboard.pages.parts import FACTS
from dashboard.pages.registry import PAGES
from data_demo.bench import pages


def test_every_part_of_a_page_is_timed_beside_a_bare_callback(
    demo_store: Store,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(pages, "PAGES", {"today": PAGES["today"]})
    monkeypatch.setattr(pages, "REPEATS", 2)
    found = pages.run([demo_store.root], out=tmp_path / "found.json")
    assert json.loads((tmp_path / "found.json").read_text(encoding="utf-8")) == found
    (measured,) = found["stores"].values()
    parts = [(one["page"], one["part"]) for one in measured["parts"]]
    expected = [pages.FRAME, FACTS, *PAGES["today"].sections]
    assert parts == [("today", name) for name in expected]
    assert all(0 < one["warm_p50_ms"] <= one["warm_p95_ms"] for one in measured["parts"])
    assert 0 < found["bare"]["p50_ms"] <= found["bare"]["p95_ms"]
    assert "A callback of one bare row" in capsys.readouterr().out


def test_a_callback_that_fails_stops_the_measurement(
    demo_store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_asked: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("dashboard.app.draw_part", refuse)
    client = pages._client(demo_store, cache=False)
    call = next(call for _, part, call in pages._calls(demo_store) if part == FACTS)
    with pytest.raises(RuntimeError, match="a callback failed"):
        pages._post(client, call)
