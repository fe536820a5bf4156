"""A small store handed in from files, and the command line run inside the test or beside it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

import pytest

from analytics.cli.main import main
from analytics.handin import ingest
from analytics.store import Store
from tests.history.world import CATALOGUE

LOCOMOTIVES = """locomotive,class,depot,in_service_from,records_from,engine_hours_at_start
5A,Alder,North,2024-01-01,2024-01-01,0
6B,Alder,South,2024-01-01,2024-01-01,0
"""
INSPECTIONS = "locomotive,inspected_at,kind,engine_hours\n" + "".join(
    f"{name},2024-{month:02}-{day:02},daily,{240 * (month - 1) + 8 * day}\n"
    for name in ("5A", "6B")
    for month in range(1, 7)
    for day in (1, 10, 20)
)
FINDINGS = "locomotive,found_at,component,position,defect,severity,action,closed_at\n" + "".join(
    f"{name},2024-{month:02}-10,injector,{place},{defect},in-service,{action},\n"
    for name, place, defect, action, months in (
        ("5A", 1, "leaking", "replaced", (1, 2, 5)),
        ("5A", 2, "worn", "cleaned", (3,)),
        ("6B", 1, "leaking", "cleaned", (2, 4)),
    )
    for month in months
)
BAD_FINDINGS = (
    "locomotive,found_at,component,position,defect,severity,action,closed_at\n"
    "5A,2024-03-01,injektor,1,leaking,rectify,cleaned,\n"
    "5A,2024-03-02,injector,3,leaking,rectify,cleaned,\n"
)


@dataclass(frozen=True)
class Done:
    code: int
    out: str
    err: str


@pytest.fixture(scope="session")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("files")
    for name, text in (
        ("locomotives.csv", LOCOMOTIVES),
        ("inspections.csv", INSPECTIONS),
        ("findings.csv", FINDINGS),
        ("bad.csv", BAD_FINDINGS),
        ("catalogue.toml", CATALOGUE),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="session")
def store(files: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("stores") / "store"
    made = Store.create(folder, {"catalogue.toml": CATALOGUE})
    ingest(made, [files / f"{name}.csv" for name in ("locomotives", "inspections", "findings")])
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Done]:
    """Run the command line in this process, with its exit status."""
    monkeypatch.setattr(sys, "excepthook", sys.excepthook)  # `main` sets it; this puts it back
    monkeypatch.delenv("SHEDBOOK_STORE", raising=False)
    monkeypatch.setenv("COLUMNS", "80")

    def call(*arguments: object) -> Done:
        with pytest.raises(SystemExit) as leaving:
            main([str(argument) for argument in arguments])
        said = capsys.readouterr()
        return Done(int(leaving.value.code or 0), said.out, said.err)

    return call


def beside(
    *arguments: object,
    cwd: Path | None = None,
    code: str = "",
    stdout: int | IO[bytes] = subprocess.PIPE,
    **environment: str,
) -> subprocess.CompletedProcess[str]:
    """Run the command line, or some code, in a process of its own."""
    how = ["-c", code] if code else ["-m", "analytics.cli.main"]
    root = Path(__file__).resolve().parents[2]
    kept = {k: v for k, v in os.environ.items() if k not in ("TZ", "LANG", "LC_ALL", "COLUMNS")}
    return subprocess.run(
        [sys.executable, *how, *(str(argument) for argument in arguments)],
        cwd=cwd,
        env=kept | {"PYTHONPATH": str(root), "COLUMNS": "80"} | environment,
        stdout=stdout,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
