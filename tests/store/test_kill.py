"""kill -9 at any moment of a hand-in: the store opens, and the batch is wholly there or wholly not.

Oracle: the content after a hand-in that nobody disturbed.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analytics.catalogue.load import shipped_files
from analytics.handin import ingest
from analytics.store import Store

LOCOMOTIVES = 10
ROWS = 4000
SECONDS = 120
# Says when the imports are done, so that a kill falls into the hand-in itself.
CHILD = """
import sys
from analytics.handin import ingest
from analytics.store import Store
store = Store.open(sys.argv[1])
print("ready", flush=True)
ingest(store, sys.argv[2])
print("done", flush=True)
"""


def write_register(folder: Path) -> Path:
    path = folder / "register.csv"
    rows = "".join(f"L{n},Alder,North,2020-01-01\n" for n in range(LOCOMOTIVES))
    path.write_text("locomotive,class,depot,in_service_from\n" + rows, encoding="utf-8")
    return path


def write_findings(folder: Path) -> Path:
    path = folder / "findings.csv"
    rows = "".join(
        f"L{n % LOCOMOTIVES},2024-{n % 12 + 1:02d}-{n // 12 % 28 + 1:02d} 06:{n // 336:02d},"
        f"fuel-injector,{n % 16 + 1},leaking,replaced,{n}\n"
        for n in range(ROWS)
    )
    head = "locomotive,found_at,component,position,defect,action,finding_id\n"
    path.write_text(head + rows, encoding="utf-8")
    return path


def content(store: Store) -> tuple[int, int, int, int]:
    """Count batches, findings, episodes and lives."""
    counted = (
        "SELECT (SELECT count(*) FROM batch), (SELECT count(*) FROM facts.findings), "
        "(SELECT count(*) FROM history.episode), (SELECT count(*) FROM history.life)"
    )
    with store.read() as reader:
        batches, findings, episodes, lives = reader.cursor.execute(counted).fetchall()[0]
    return int(batches), int(findings), int(episodes), int(lives)


def start(root: Path, file: Path) -> subprocess.Popen[str]:
    process = subprocess.Popen(
        [sys.executable, "-c", CHILD, str(root), str(file)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


class Scene:
    """A store before the hand-in, its content before and after, and how long one takes."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.base = folder / "base"
        store = Store.create(self.base, shipped_files())
        ingest(store, write_register(folder))
        self.file = write_findings(folder)
        self.before = content(store)
        whole = self.copy("whole")
        began = time.monotonic()
        with start(whole, self.file) as process:
            began = time.monotonic()
            process.communicate(timeout=SECONDS)
        self.seconds = time.monotonic() - began
        self.after = content(Store.open(whole))

    def copy(self, name: str) -> Path:
        return shutil.copytree(self.base, self.folder / name)

    def kill_after(self, seconds: float, name: str) -> tuple[int, int, int, int]:
        """Kill one hand-in, look at the store, hand in again, look again; return the first look."""
        root = self.copy(name)
        with start(root, self.file) as process:
            time.sleep(seconds)
            process.kill()
            process.communicate(timeout=SECONDS)
        store = Store.open(root)
        found = content(store)
        assert found in {self.before, self.after}
        report = ingest(store, self.file, wait_seconds=SECONDS)
        assert report.files[0].accepted == (ROWS if found == self.before else 0)
        assert content(store) == self.after
        assert not list(root.glob("*.building*"))
        shutil.rmtree(root)
        return found


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    found = Scene(tmp_path_factory.mktemp("kill"))
    assert found.before[:2] == (1, 0)
    assert found.after[:2] == (2, ROWS)
    return found


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_killed_hand_in_is_wholly_there_or_wholly_not(scene: Scene, share: float) -> None:
    scene.kill_after(share * scene.seconds, f"share-{share}")


@pytest.mark.campaign
def test_fifty_kills_at_random_moments(scene: Scene) -> None:
    chance = random.Random(50)
    looks = [scene.kill_after(chance.uniform(0, 1.1 * scene.seconds), f"{n}") for n in range(50)]
    assert scene.before in looks  # at least one came before the end; the rest checked themselves
