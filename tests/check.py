"""Run every check of the project: format, lint, types, tests (the import table is one of them).

python -m tests.check            everything, as on a fresh machine
python -m tests.check --quick    without the campaigns and the browser
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
QUICK = ["-m", "not campaign and not browser"]
# Groups and order are those of tests/conftest.py, the longest first: else one core would end
# minutes after the other.
CORES = str(min(2, os.cpu_count() or 1))
SPREAD = ["-n", CORES, "--dist", "loadgroup", "--no-loadscope-reorder"]


def steps(quick: bool) -> list[tuple[str, list[str]]]:
    """Return (name, command) of each check in order."""
    python = sys.executable
    return [
        ("format", [python, "-m", "ruff", "format", "--check", "."]),
        ("lint", [python, "-m", "ruff", "check", "."]),
        ("types", [python, "-m", "mypy"]),
        ("tests", [python, "-m", "pytest", *SPREAD, *(QUICK if quick else [])]),
    ]


def main(arguments: list[str]) -> int:
    """Run the checks; stop at the first that fails and say how to run it alone."""
    for name, command in steps("--quick" in arguments):
        print(f"== {name}: {' '.join(command[1:])}", flush=True)
        started = time.monotonic()
        code = subprocess.run(command, cwd=ROOT, check=False).returncode
        print(
            f"== {name}: {'ok' if code == 0 else 'FAILED'}, {time.monotonic() - started:.0f} s",
            flush=True,
        )
        if code != 0:
            print(f"run it alone: {' '.join(['python', *command[1:]])}", file=sys.stderr)
            return 1
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
