"""The house rules that a machine can hold: who may import whom, sizes, what lies at the top."""

from __future__ import annotations

import ast
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
# What each folder or module may import of ours (the table of DEVELOPERS.md).
SHARED = {"analytics.errors", "analytics.scope", "analytics.answer"}
MAY_IMPORT: dict[str, set[str]] = {
    "analytics.errors": set(),
    "analytics.answer": {"analytics.errors"},
    "analytics.scope": {"analytics.errors", "analytics.answer", "analytics.catalogue"},
    "analytics.catalogue": {"analytics.errors"},
    "analytics.intake": {"analytics.errors", "analytics.catalogue"},
    "analytics.store": {"analytics.errors", "analytics.catalogue"},
    "analytics.history": {"analytics.store", "analytics.catalogue"} | SHARED,
    "analytics.handin": {"analytics.intake", "analytics.store", "analytics.history"}
    | {"analytics.catalogue"}
    | SHARED,
    "analytics.estimate": {"analytics.errors"},
    "analytics.answers": {"analytics.store", "analytics.catalogue", "analytics.history"}
    | {"analytics.estimate"}
    | SHARED,
    "analytics.planning": {"analytics.answers", "analytics.estimate", "analytics.history"}
    | {"analytics.store", "analytics.catalogue"}
    | SHARED,
    "analytics.exports": {"analytics.answers", "analytics.planning"} | SHARED,
    "analytics.cli": {"analytics"},
    "analytics.cli.run": {"analytics", "dashboard", "data_demo"},
    "analytics": {"analytics"},
    "dashboard": {"dashboard", "analytics.answers", "analytics.planning", "analytics.exports"}
    | {"analytics.handin", "analytics.store", "analytics.catalogue"}
    | SHARED,
    "data_demo": {"data_demo", "analytics.catalogue", "analytics.handin", "analytics.store"}
    | {"analytics.planning"}
    | SHARED,
    "data_demo.bench": {"data_demo", "analytics", "dashboard"},
}
# Libraries that only the named place may use.
ONLY_IN = {
    "lifelines": "analytics/estimate/lifelines_fits.py",
    "dash": "dashboard/",
    "plotly": "dashboard/",
    "dash_mantine_components": "dashboard/",
}
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml"} | {
    "requirements.lock", "analytics", "dashboard", "data_demo", "tests",
}  # fmt: skip


def modules() -> list[Path]:
    return [
        path
        for folder in ("analytics", "dashboard", "data_demo")
        for path in sorted((ROOT / folder).rglob("*.py"))
    ]


def dotted(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add(node.module or "")
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names


def within(name: str, place: str) -> bool:
    return name == place or name.startswith(f"{place}.")


def room_of(module: str) -> str:
    return max((room for room in MAY_IMPORT if within(module, room)), key=len)


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_imports_go_one_way(path: Path) -> None:
    module = dotted(path)
    room = room_of(module)
    ours = {
        name
        for name in imported(path)
        if name.split(".")[0] in {"analytics", "dashboard", "data_demo", "tests"}
    }
    allowed = MAY_IMPORT[room] | {room}
    wrong = sorted(n for n in ours if n != "analytics" and not any(within(n, a) for a in allowed))
    assert not wrong, f"{module} ({room}) must not import {wrong}"


@pytest.mark.parametrize("path", modules(), ids=dotted)
def test_libraries_stay_in_their_place(path: Path) -> None:
    here = path.relative_to(ROOT).as_posix()
    for library, place in ONLY_IN.items():
        used = any(within(name, library) for name in imported(path))
        assert not used or here.startswith(place), f"{here} imports {library}"


def tracked() -> list[str]:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    return [name for name in listed.stdout.splitlines() if (ROOT / name).exists()]


def test_top_level_is_fixed() -> None:
    tops = {name.split("/")[0] for name in tracked()}
    assert {top for top in tops if not top.startswith(".")} <= TOP_LEVEL


def test_file_names_are_plain() -> None:
    assert [name for name in tracked() if not name.isascii() or " " in name] == []


def test_sizes_stay_small() -> None:
    limits = {".py": 500, ".sql": 120}
    too_long = {}
    for name in tracked():
        own_asset = name.startswith("dashboard/assets/") and ".min." not in name
        limit = (
            200 if own_asset and name.endswith((".js", ".css")) else limits.get(Path(name).suffix)
        )
        if limit is None:
            continue
        lines = len((ROOT / name).read_text(encoding="utf-8").splitlines())
        if lines > limit:
            too_long[name] = lines
    assert too_long == {}


def test_pages_stay_thin() -> None:
    pages = [p for p in modules() if p.parent.name == "pages"]
    assert {p.name: n for p in pages if (n := len(p.read_text().splitlines())) > 250} == {}


def test_every_sql_file_says_what_a_row_means() -> None:
    for path in sorted((ROOT / "analytics").rglob("*.sql")):
        assert path.read_text(encoding="utf-8").startswith("-- "), path.name


def test_functions_stay_short() -> None:
    """Bodies without docstring: 50 lines at most."""
    long = []
    for path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
                body = node.body[1:] if ast.get_docstring(node) else node.body
                lines = (body[-1].end_lineno or 0) - body[0].lineno + 1 if body else 0
                if lines > 50:
                    long.append(f"{dotted(path)}.{node.name}: {lines}")
    assert long == []
