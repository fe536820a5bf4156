"""The documents keep up with the program: commands, columns and links they name exist."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analytics.cli.main import COMMANDS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_documented(command: str) -> None:
    assert re.search(rf"shedbook {command}\b|`{command}\b", README + DEVELOPERS), command


def test_readme_names_no_command_that_does_not_exist() -> None:
    code = "\n".join(re.findall(r"```sh\n(.*?)```", README, flags=re.S))
    named = re.findall(r"shedbook ([a-z][a-z-]*)", code)
    assert set(named) <= set(COMMANDS)
    assert len(named) > 5


def test_readme_holds_the_two_commands_of_a_fresh_machine() -> None:
    commands = [line for line in README.splitlines() if line.startswith("python3 -m venv")]
    assert [line.split(" && ")[-1] for line in commands] == [
        ".venv/bin/shedbook demo",
        ".venv/bin/python -m tests.check",
    ]


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md", "CHANGELOG.md"])
def test_links_and_pictures_exist(document: str) -> None:
    text = (ROOT / document).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert target.startswith("https://") or (ROOT / target).exists(), target


def test_every_dependency_has_its_reason() -> None:
    import tomllib

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["test"]]
    reasons = DEVELOPERS.split("## Dependencies and why")[1].split("## When a check")[0]
    for requirement in wanted:
        name = re.split(r"[<>=]", requirement)[0]
        assert name in reasons, name


def test_every_setting_is_documented() -> None:
    sources = [
        p
        for room in ("analytics", "dashboard", "data_demo", "tests")
        for p in (ROOT / room).rglob("*.py")
    ]
    named = {
        name
        for path in sources
        for name in re.findall(r"SHEDBOOK_[A-Z_]+", path.read_text("utf-8"))
    }
    settings = DEVELOPERS.split("## Settings")[1].split("## The store")[0]
    assert {name for name in named if f"`{name}`" not in settings} <= {"SHEDBOOK_"}
