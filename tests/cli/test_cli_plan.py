"""The command `plan` as a planner types it, on the demo's small railway."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from analytics.cli.main import shedbook
from analytics.planning.tables import COLUMNS
from data_demo.build import build


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one version of a plan."""
    folder = tmp_path_factory.mktemp("planned") / "railway"
    build(folder, locomotives=6, years=2)
    done = run(folder)
    assert done.exit_code == 0, done.output
    return folder


@pytest.fixture
def store(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "railway")
    return tmp_path / "railway"


def run(store: Path, *words: str) -> Result:
    quick = ["--seconds", "3"]
    inputs = [] if words else ["--inputs", str(store / "planning.toml")]
    return CliRunner().invoke(
        shedbook, ["plan", "--store", str(store), *inputs, *words, *quick]
    )  # fmt: skip


def refusal(store: Path, *words: str) -> str:
    done = run(store, *words)
    assert done.exit_code != 0
    return str(done.exception)


def test_plan_is_kept_shown_and_written(store: Path, tmp_path: Path) -> None:
    shown = run(store, "--show", "1")
    assert shown.exit_code == 0
    assert "Version 1:" in shown.stdout
    assert "gap" in shown.stdout
    assert "releases no locomotive" in " ".join(shown.stdout.split())
    rows = list(csv.DictReader(io.StringIO(run(store, "--format", "csv", "--part", "days").stdout)))
    assert tuple(rows[0]) == COLUMNS["days"]
    for name in ("plan.xlsx", "plan.pdf", "plan.ics"):
        option = "--calendar" if name.endswith("ics") else "--out"
        assert run(store, option, str(tmp_path / name)).exit_code == 0
        assert (tmp_path / name).stat().st_size > 500


def test_pinned_compared_and_undone(store: Path) -> None:
    day = json.loads(run(store, "--part", "days", "--json").stdout)
    monday = next(row["day"][:10] for row in day[8:] if row["is_open"])
    pinned = run(store, "--pin", f"A-01:{monday}")
    assert pinned.exit_code == 0, pinned.output
    assert "Kept as version 2" in pinned.stderr
    visits = json.loads(run(store, "--json", "--part", "visits").stdout)
    assert any(v["locomotive"] == "A-01" and v["first"].startswith(monday) for v in visits)
    compared = run(store, "--compare", "1", "2")
    assert "Version 2 against 1" in compared.stdout
    undone = run(store, "--undo", "--list")
    assert "version 3 is in force" in undone.stdout
    again = json.loads(run(store, "--part", "versions", "--json").stdout)
    assert [row["again"] for row in again] == [1, None, None]
    assert "nothing to undo" in refusal(store, "--undo")
    lifted = run(store, "--from", "2", "--lift", f"A-01:{monday}")
    assert lifted.exit_code == 0
    latest = json.loads(run(store, "--part", "versions", "--json").stdout)[0]
    assert (latest["parent"], latest["pinned"]) == (2, "")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--pin", "A-01"), "--pin reads LOCOMOTIVE:DAY"),
        (("--pin", "A-01:soon"), "--pin ends in a day"),
        (("--forbid", "soon"), "--forbid ends in a day"),
        (("--pin", "A-01:2031-01-01"), "lies outside the plan"),
        (("--pin", "Z-9:2026-01-05"), "'Z-9' is not in service"),
        (("--from", "9"), "there is no plan version 9"),
        (("--show", "9"), "there is no plan version 9"),
        (("--compare", "1", "9"), "there is no plan version 9"),
        (("--template", "plan.doc"), "should end in .xlsx or .toml"),
        (("--inputs", "nowhere.toml"), "cannot be read"),
    ],
)
def test_wrong_words_get_one_sentence_and_change_nothing(
    store: Path, words: tuple[str, ...], said: str
) -> None:
    assert said in refusal(store, *words)
    assert len(json.loads(run(store, "--part", "versions", "--json").stdout)) == 1


def test_bad_inputs_keep_no_version(store: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text("[costs]\nday_out = -1\n[[berths]]\nberth = 1\n", encoding="utf-8")
    assert "day_out should be 0 or more" in refusal(store, "--inputs", str(bad))
    assert len(json.loads(run(store, "--part", "versions", "--json").stdout)) == 1


def test_before_the_first_plan_the_way_to_one_is_told(tmp_path: Path) -> None:
    build(tmp_path / "railway", locomotives=2, years=1)
    (tmp_path / "railway" / "planning.toml").unlink()
    shown = run(tmp_path / "railway", "--part", "visits")
    assert shown.exit_code == 0
    assert "shedbook plan --template planning.xlsx" in " ".join(shown.stdout.split())
    assert "shedbook plan --template" in refusal(tmp_path / "railway", "--again")
    for name in ("template.xlsx", "example.toml"):
        option = f"--{name.split('.')[0]}"
        assert run(tmp_path / "railway", option, str(tmp_path / name)).exit_code == 0
        assert (tmp_path / name).exists()
