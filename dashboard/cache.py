"""Answers kept on disk, so that a figure is computed once for each snapshot and question.

The key is everything an answer depends on: snapshot, catalogue, question, options, Scope, program
version; never the language. A publish makes new keys, so nothing has to be invalidated. Those read
last are also held in memory, as long as their file is as it was.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import cache, lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

from filelock import FileLock

import analytics
from analytics.answer import Answer
from analytics.scope import Scope
from analytics.store import Reader
from dashboard.kept_answer import read_kept, to_json, write_kept

_OLD_SECONDS = 600  # another worker may still serve the snapshot before this one
_MOST_ANSWERS = 2_000
_MOST_IN_MEMORY = 64
_COUNTS = (".py", ".sql")  # files that an answer follows from


class AnswerCache:
    """Answers of one store folder; where the folder cannot be written, it keeps nothing."""

    def __init__(self, store_folder: Path | None) -> None:
        """Name the store folder; None keeps nothing."""
        self._root = store_folder

    def get(
        self,
        reader: Reader,
        question: str,
        *,
        scope: Scope,
        options: Mapping[str, Any],
        make: Callable[[], Answer],
    ) -> Answer:
        """Return the kept answer, or make it, with every other caller waiting for the one."""
        folder = self._folder_of(reader)
        if folder is None:
            return make()
        key = _digest((question, options, scope.to_options(), program()))
        place = folder / f"{key}.parquet"
        kept = _read(place)
        if kept is not None:
            return kept
        with FileLock(place.with_suffix(".lock")):
            kept = _read(place)
            if kept is None:
                kept = make()
                write_kept(kept, place)
                _drop_oldest(folder)
        return kept

    def kept(
        self, reader: Reader, question: str, *, scope: Scope, options: Mapping[str, Any]
    ) -> Answer | None:
        """Return the answer where it is kept; nothing is worked out."""
        folder = self._folder_of(reader)
        if folder is None:
            return None
        key = _digest((question, options, scope.to_options(), program()))
        return _read(folder / f"{key}.parquet")

    def _folder_of(self, reader: Reader) -> Path | None:
        """Return the folder of the reader's snapshot, made; None where nothing can be kept."""
        if self._root is None:
            return None
        try:
            # A store made again under the same path counts its snapshots from 1 again.
            stamp = (self._root / reader.name).stat().st_mtime_ns
            kept = self._root / "cache"
            folder = kept / _digest((reader.name, reader.catalogue.fingerprint, stamp))
            if not folder.is_dir():
                kept.mkdir(mode=0o700, exist_ok=True)
                _drop_old(kept)
                folder.mkdir(mode=0o700, exist_ok=True)
        except OSError:
            return None
        return folder if os.access(folder, os.W_OK) else None


def _read(place: Path) -> Answer | None:
    try:
        return _read_as_of(place, place.stat().st_mtime_ns)
    except OSError:
        return None


@lru_cache(maxsize=_MOST_IN_MEMORY)
def _read_as_of(place: Path, _written: int) -> Answer | None:
    """Read a file once for each time that it was written: nobody changes an answer in place."""
    return read_kept(place)


@cache
def program() -> str:
    """Return what tells one state of the program from another, also between two releases."""
    folder = Path(analytics.__file__).parent
    files = sorted(path for path in folder.rglob("*.*") if path.suffix in _COUNTS)
    states = [(path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    return _digest((version("shedbook"), states))


def _drop_old(kept: Path) -> None:
    for folder in kept.iterdir():
        with suppress(OSError):
            if folder.stat().st_mtime < time.time() - _OLD_SECONDS:
                shutil.rmtree(folder)


def _digest(value: object) -> str:
    return hashlib.sha256(json.dumps(value, default=to_json).encode()).hexdigest()[:32]


def _drop_oldest(folder: Path) -> None:
    with suppress(OSError):
        kept = sorted(folder.glob("*.parquet"), key=lambda path: path.stat().st_mtime)
        for path in kept[:-_MOST_ANSWERS]:
            path.unlink()
