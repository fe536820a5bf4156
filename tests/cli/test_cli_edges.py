"""The edges of the command line: exit statuses, one line of complaint, poor surroundings.

Oracle: the contract (0 done, 1 failed, 2 wrong use or unusable file, 3 with --strict).
"""

from __future__ import annotations

import io
import json
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

import analytics
from analytics.cli.main import COMMANDS
from analytics.cli.screen import show_table
from analytics.scope import GROUPS
from tests.cli.conftest import Done, beside

Run = Callable[..., Done]


def test_help_lists_every_command_and_each_explains_itself(run: Run) -> None:
    said = run("--help").out
    assert [word for word in COMMANDS if f"\n  {word} " in said] == list(COMMANDS)
    for word in COMMANDS:
        done = run(word, "--help")
        assert done.code == 0
        assert done.out.startswith(f"Usage: shedbook {word}")
    assert run().out == said
    assert run("--version").out.startswith("shedbook, version ")


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys\nfrom analytics.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print([m for m in ('pandas', 'duckdb', 'scipy', 'rich', 'dash') if m in sys.modules])"
    )
    assert beside(code=code).stdout.splitlines()[-1] == "[]"


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (("mtfb",), 2, "there is no command 'mtfb'; nearest: mtbf"),
        (("mtbf", "--clok", "km"), 2, "No such option"),
        (("mtbf", "--clock", "miles"), 2, "'miles' is not one of 'hours', 'km', 'days'"),
        (("mtbf", "--by", "klass"), 2, "group 'klass' is not known; nearest: class"),
        (("trend", "--by", "month"), 2, "trend cannot be split by 'month'"),
        (("mtbf", "--component", "injektor"), 2, "component 'injektor' is not known; nearest: inj"),
        (("mtbf", "--since", "31.5.2024"), 2, "a date must read like"),
        (("mtbf", "--level", "2"), 2, "level must lie between"),
        (("recurrence", "--window", "month"), 2, "a window must read like 30d"),
        (("mtbf", "--with-basis", "--format", "csv"), 2, "--with-basis goes with --format json"),
        (("mtbf", "--json", "--format", "csv"), 2, "contradict each other"),
        (("mtbf", "--out", "no/such/folder/figures.csv"), 2, "cannot be written"),
    ],
)
def test_wrong_use_is_one_line_and_status_2(
    given: tuple[str, ...], code: int, said: str, run: Run, store: Path
) -> None:
    done = run(*given, *(() if given == ("mtfb",) else ("--store", store)))
    assert (done.code, done.out) == (code, "")
    assert done.err.startswith("shedbook: ")
    assert said in done.err
    assert done.err.count("\n") == 1


def test_wrong_store_is_status_2_and_says_how_to_make_one(run: Run, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("no store", encoding="utf-8")
    for wrong in ("none", "a file"):
        done = run("mtbf", "--store", tmp_path / wrong)
        assert (done.code, done.out) == (2, "")
        assert "make one with `shedbook init" in done.err
        assert done.err.count("\n") == 1


# Exhaustive: the words that the help of --by names are those that the question takes.
@pytest.mark.parametrize(
    ("given", "more"),
    [
        ("mtbf", ()), ("trend", ()), ("survival", ()), ("mcf", ()), ("recurrence", ()),
        ("availability", ()), ("compare", ("--span", "2w")),
    ],
)  # fmt: skip
def test_help_of_by_names_the_words_that_a_command_takes(
    given: str, more: tuple[str, ...], run: Run, store: Path
) -> None:
    said = " ".join(run(given, "--help").out.split())
    named = said.split("A row for each of: ")[1].split(";")[0].split(", ")
    taken = [word for word in GROUPS if run(given, "--by", word, *more, "--store", store).code == 0]
    assert named == taken


def test_weeks_are_read_wherever_days_are(run: Run, store: Path) -> None:
    for weeks, days in (
        (("next-weeks", "--horizon", "4w"), ("next-weeks", "--horizon", "28d")),
        (("backtest", "--horizon", "1w"), ("backtest", "--horizon", "7d")),
        (("recurrence", "--window", "2w"), ("recurrence", "--window", "14d")),
        (("standouts", "--window", "2 w"), ("standouts", "--window", "14 d")),
        (("compare", "--span", "2w"), ("compare", "--span", "14d")),
    ):
        told = [run(*words, "--store", store, "--json") for words in (weeks, days)]
        assert told[0].code == 0
        assert told[0].out == told[1].out
    done = run("compare", "--span", "1.5d", "--store", store)
    assert (done.code, done.err) == (
        2,
        "shedbook: a span must read like 28d or 4w, in whole days, above 0 and up to 36525d,"
        " but is '1.5d'.\n",
    )


def test_store_comes_from_the_environment(
    run: Run, store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SHEDBOOK_STORE", str(store))
    assert run("mtbf").code == 0


def test_init_then_ingest_then_ask(run: Run, files: Path, tmp_path: Path) -> None:
    target = tmp_path / "mine"
    made = run("init", "--store", target, "--catalogue", files / "catalogue.toml")
    assert made.code == 0
    assert "2 components, 1 classes" in made.out
    again = run("init", "--store", target)
    assert again.code == 1
    assert "already holds a store" in again.err
    good = [files / "locomotives.csv", files / "findings.csv"]
    first = run("ingest", *good, "--store", target)
    assert (first.code, first.err) == (0, "")
    assert "Batch 1 is in." in first.out
    assert run("ingest", *good, "--store", target).out.endswith(
        "Nothing new: every row was held already, or set aside before.\n"
    )
    assert run("mtbf", "--store", target, "--clock", "days").code == 0


def test_rows_set_aside_are_shown_and_are_status_3_only_when_strict(
    run: Run, files: Path, tmp_path: Path
) -> None:
    target = tmp_path / "mine"
    run("init", "--store", target, "--catalogue", files / "catalogue.toml")
    done = run("ingest", files / "locomotives.csv", files / "bad.csv", "--store", target)
    assert done.code == 0
    assert "bad.csv, row 2: component 'injektor' is not known; nearest: injector" in done.out
    other = tmp_path / "other"
    run("init", "--store", other, "--catalogue", files / "catalogue.toml")
    strict = run(
        "ingest",
        files / "locomotives.csv",
        files / "bad.csv",
        "--strict",
        "--json",
        "--store",
        other,
    )
    assert strict.code == 3
    reports = json.loads(strict.out)
    assert [list(report) for report in reports] == [
        ["file", "table", "rows", "accepted", "updated", "duplicate", "set_aside", "batch"]
    ] * 2
    assert [report["set_aside"] for report in reports] == [0, 2]
    for report in reports:
        ends = ("accepted", "updated", "duplicate", "set_aside")
        assert sum(report[name] for name in ends) == report["rows"]


def test_unusable_file_is_status_2_and_writes_nothing(
    run: Run, store: Path, tmp_path: Path
) -> None:
    before = (store / "CURRENT").read_text()
    odd = tmp_path / "odd.csv"
    odd.write_text("a,b\n1,2\n")
    for file in (odd, tmp_path / "missing.csv"):
        done = run("ingest", file, "--store", store)
        assert (done.code, done.out) == (2, "")
        assert file.name in done.err
        assert done.err.count("\n") == 1
    assert (store / "CURRENT").read_text() == before


def test_covered_until_moves_the_end_of_the_record(run: Run, files: Path, tmp_path: Path) -> None:
    target = tmp_path / "mine"
    run("init", "--store", target, "--catalogue", files / "catalogue.toml")
    good = [files / "locomotives.csv", files / "findings.csv"]
    run("ingest", *good, "--covered-until", "2024-12-31", "--store", target)
    done = run("mtbf", "--store", target, "--clock", "days", "--json", "--with-basis")
    assert json.loads(done.out)["basis"]["data_cut"] == "2024-12-31T00:00:00"


def test_unexpected_failure_is_one_line_and_status_1() -> None:
    code = (
        "import sys\nimport analytics.store as s\nfrom analytics.cli.main import main\n"
        "def broken(*a): raise RuntimeError('a bolt came loose')\n"
        "s.Store.open = broken\nmain(['mtbf'])"
    )
    done = beside(code=code)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "shedbook: failed unexpectedly: RuntimeError: a bolt came loose"
        " (SHEDBOOK_DEBUG=1 shows where)\n"
    )
    assert "Traceback" in beside(code=code, SHEDBOOK_DEBUG="1").stderr


def test_closed_pipe_is_no_failure(store: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    for form in ("csv", "table"):
        done = beside("mtbf", "--by", "month", "--store", store, "--format", form, stdout=writing)
        assert done.returncode == 0
        assert "Error" not in done.stderr
    os.close(writing)


def test_poor_surroundings_change_nothing(store: Path, tmp_path: Path) -> None:
    home = tmp_path / "home"
    home.mkdir()
    home.chmod(stat.S_IRUSR | stat.S_IXUSR)
    plain = beside("mtbf", "--store", store, "--by", "locomotive")
    poor = beside(
        "mtbf", "--store", store, "--by", "locomotive", LANG="C", LC_ALL="C", HOME=str(home)
    )
    assert poor.returncode == 0
    assert poor.stdout == plain.stdout


def test_terminal_without_fine_characters_gets_plain_ones(store: Path) -> None:
    done = beside("mtbf", "--store", store, "--by", "locomotive", PYTHONIOENCODING="ascii")
    assert done.returncode == 0
    assert done.stdout.isascii()
    assert "?" not in done.stdout.replace("constant?", "")


def test_long_tables_are_cut_and_say_so(store: Path) -> None:
    opened = analytics.open_store(store)
    cases = {
        "The 2 of 4 rows that fail most often": ("mtbf", "component,locomotive"),
        "The last 2 of 6 rows": ("mtbf", "month"),
        "2 of 6 rows, evenly spaced": ("mcf", ""),
    }
    for said, (question, by) in cases.items():
        stream = io.StringIO()
        show_table(analytics.ask(opened, question, by=by), stream, most_rows=2)
        assert said in stream.getvalue()
        assert "--format csv" in stream.getvalue()


def test_pages_are_refused_to_the_world(run: Run, store: Path) -> None:
    done = run("serve", "--host", "0.0.0.0", "--store", store)
    assert done.code == 1
    assert "this machine only" in done.err
    assert done.err.count("\n") == 1


def test_demo_prints_three_tables_and_writes_below_its_folder_alone(tmp_path: Path) -> None:
    given = ("demo", "--locomotives", "4", "--years", "1", "--until-ready", "--no-browser")
    done = beside(*given, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    for word in ("shedbook mtbf", "shedbook repeats", "shedbook recurrence", "http://127.0.0.1:"):
        assert word in done.stdout
    assert [path.name for path in tmp_path.iterdir()] == ["shedbook-demo"]
    assert done.stderr == ""
