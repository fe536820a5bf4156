"""The wheel holds everything: built, installed elsewhere, and used from an empty folder."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent

REGISTER = "locomotive,class,in_service_from,records_from\nA1,Alder,2024-01-01,2024-01-01\n"
FINDINGS = "locomotive,found_at,component,position,defect,action\n" + "".join(
    f"A1,2024-0{month}-10,fuel-injector,{month},leaking,replaced\n" for month in range(1, 7)
)
ONE_PAGE = """
import sys
from analytics.store import Store
from dashboard.app import create_app
from dashboard.settings import Settings
app = create_app(Store.open(sys.argv[1]), Settings())
with app.server.test_client() as client:
    print(client.get("/component/fuel-injector").status_code)
"""


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    pip = [sys.executable, "-m", "pip", "--quiet", "--disable-pip-version-check"]
    subprocess.run([*pip, "wheel", "--no-deps", "-w", str(folder), str(ROOT)], check=True)
    wheel = next(folder.glob("shedbook-*.whl"))
    target = folder / "elsewhere"
    subprocess.run([*pip, "install", "--no-deps", "--target", str(target), str(wheel)], check=True)
    return target


def run(installed: Path, cwd: Path, *arguments: str) -> str:
    kept = {
        k: v for k, v in os.environ.items() if k not in ("LANG", "LC_ALL", "TZ", "SHEDBOOK_STORE")
    }
    home = cwd / "home"
    home.mkdir(exist_ok=True)
    home.chmod(0o555)
    env = kept | {"PYTHONPATH": str(installed), "LANG": "C", "HOME": str(home)}
    done = subprocess.run(
        [sys.executable, *arguments], cwd=cwd, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_wheel_installed_elsewhere_takes_files_and_answers(installed: Path, tmp_path: Path) -> None:
    (tmp_path / "locomotives.csv").write_text(REGISTER)
    (tmp_path / "findings.csv").write_text(FINDINGS)
    where = run(installed, tmp_path, "-c", "import analytics; print(analytics.__file__)")
    assert Path(where.strip()).is_relative_to(installed)
    shedbook = ["-m", "analytics.cli.main"]
    run(installed, tmp_path, *shedbook, "init")
    run(installed, tmp_path, *shedbook, "ingest", "locomotives.csv", "findings.csv")
    out = run(
        installed,
        tmp_path,
        *shedbook,
        "mtbf",
        "--component",
        "fuel-injector",
        "--clock",
        "days",
        "--format",
        "csv",
    )
    header, row = out.splitlines()
    assert dict(zip(header.split(","), row.split(","), strict=True))["failures"] == "6"
    page = run(installed, tmp_path, "-c", ONE_PAGE, str(tmp_path / "shedbook-store"))
    assert page.strip().endswith("200")
