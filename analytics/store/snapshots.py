"""Snapshots: one writer builds the next file beside the current one; readers follow a pointer.

A store is a folder: `store-<n>.duckdb` files that never change once published, `CURRENT` naming
the newest, `catalogue/` (the depot's own TOML), `inbox/`, `desk.sqlite`. DuckDB lets no process
read a file that another writes, and serves stale rows when a file is replaced under an open path;
new names and a pointer avoid both (the measurements are in DEVELOPERS.md).
"""

from __future__ import annotations

import json
import os
import re
import shutil
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path

import duckdb
from filelock import FileLock, Timeout

from analytics.catalogue.load import load_catalogue, load_text
from analytics.catalogue.model import Catalogue
from analytics.errors import NoStore, StoreBusy, StoreError
from analytics.store import checks, migrations

STORAGE_FORMAT = "v1.5.0"  # fixed, so that a newer engine still writes what this one reads
KEPT_SNAPSHOTS = 3
YOUNG_SECONDS = 600  # a reader may just be opening it
DEFAULT_BUCKETS = 16
Config = dict[str, str | bool | int | float | list[str]]
_SNAPSHOT = re.compile(r"store-(\d+)\.duckdb$")


@dataclass(frozen=True)
class Reader:
    """A cursor on one snapshot, with the catalogue that was in force when it was built."""

    cursor: duckdb.DuckDBPyConnection
    name: str
    catalogue_files: Mapping[str, str]
    root: Path | None = None  # the store's folder; what people did lies there

    @cached_property
    def catalogue(self) -> Catalogue:
        """The catalogue kept inside the snapshot."""
        return load_text(dict(self.catalogue_files))

    @property
    def fingerprint(self) -> str:
        """Snapshot name and catalogue fingerprint: equal fingerprints give equal answers."""
        return f"{self.name.removesuffix('.duckdb')}/{self.catalogue.fingerprint[:8]}"


class _Opened:
    """One open snapshot; closed when superseded and no cursor is left on it."""

    def __init__(self, path: Path, config: Config) -> None:
        self.name = path.name
        self.connection = duckdb.connect(str(path), read_only=True, config=config)
        rows = self.connection.execute("SELECT name, text FROM catalogue_file").fetchall()
        self.catalogue_files = dict(rows)
        self.users = 0
        self.retired = False
        self.parsed: Catalogue | None = None


class Store:
    """A store folder; cheap to make, opens DuckDB only on first use, refuses use after a fork."""

    def __init__(self, root: Path | str, *, threads: int = 2, memory_limit: str = "4GB") -> None:
        """Name the folder; `open` and `create` check it."""
        self.root = Path(root).absolute()
        self._config: Config = {
            "threads": str(threads),
            "memory_limit": memory_limit,
            "autoinstall_known_extensions": "false",
            "autoload_known_extensions": "false",
        }
        self._guard = threading.Lock()
        self._opened: _Opened | None = None
        self._process = os.getpid()

    @classmethod
    def create(
        cls, root: Path | str, catalogue_files: Mapping[str, str], *, buckets: int = DEFAULT_BUCKETS
    ) -> Store:
        """Start a store in `root` with the given catalogue files (name to TOML text).

        Raises
        ------
        StoreError
            If the folder already holds a store.
        CatalogueError
            If the catalogue cannot be used; nothing is written then.
        """
        load_text(dict(catalogue_files))
        store = cls(root)
        if (store.root / "CURRENT").exists():
            raise StoreError(f"{store.root} already holds a store; name another folder.")
        for folder in ("catalogue", "inbox"):
            (store.root / folder).mkdir(parents=True, exist_ok=True)
        for name, text in catalogue_files.items():
            (store.root / "catalogue" / name).write_text(text, encoding="utf-8")
        with store.publish() as connection:
            connection.execute(
                "INSERT INTO meta VALUES ('buckets', ?), ('created_at', ?)",
                [str(buckets), datetime.now().isoformat(timespec="seconds")],
            )
        return store

    @classmethod
    def open(cls, root: Path | str) -> Store:
        """Open an existing store, bringing an older one up to date first (with a backup).

        Raises
        ------
        NoStore
            If there is none in the folder.
        StoreError
            If it was written by a newer program.
        """
        store = cls(root)
        if not (store.root / "CURRENT").is_file():
            raise NoStore(
                f"no store in {store.root}: make one with `shedbook init --store {store.root}`."
            )
        with store._cursor() as (opened, cursor):
            version = migrations.version_of(cursor, opened.name)
        if version < migrations.NEWEST:
            store._back_up(store.current(), version)
            with store.publish():
                pass
        return store

    def current(self) -> str:
        """Return the file name of the newest published snapshot."""
        return (self.root / "CURRENT").read_text(encoding="ascii").strip()

    def working_catalogue(self) -> Catalogue:
        """Load the depot's catalogue as it lies in the folder now (the next publish takes it)."""
        return load_catalogue(self.root / "catalogue")

    @contextmanager
    def read(self) -> Iterator[Reader]:
        """Yield a Reader on the newest snapshot; its cursor is this caller's alone."""
        with self._cursor() as (opened, cursor):
            reader = Reader(cursor, opened.name, opened.catalogue_files, self.root)
            if opened.parsed is not None:
                reader.__dict__["catalogue"] = opened.parsed
            opened.parsed = reader.catalogue
            yield reader

    @contextmanager
    def publish(self, *, wait_seconds: float = 600) -> Iterator[duckdb.DuckDBPyConnection]:
        """Yield a connection on the next snapshot; it becomes current only if the block succeeds.

        Raises
        ------
        StoreBusy
            If another process is still writing after `wait_seconds`.
        """
        self._refuse_after_fork()
        with self._writing(wait_seconds):
            for left_over in self.root.glob("*.building*"):
                left_over.unlink()
            number, building = self._next_copy()
            config: Config = self._config | {
                "storage_compatibility_version": STORAGE_FORMAT,
                "temp_directory": str(self.root / f"spill-{os.getpid()}"),
            }
            connection = duckdb.connect(str(building), config=config)
            try:
                migrations.bring_up_to_date(connection)
                self._keep_catalogue(connection)
                yield connection
                checks.refuse_broken(connection)
                connection.execute("CHECKPOINT").fetchall()
            except BaseException:  # nothing new, a fault, or an interrupt: nothing is left behind
                connection.close()
                for part in self.root.glob(f"{building.name}*"):
                    part.unlink()
                raise
            connection.close()
            self._point_to(building, self.root / f"store-{number}.duckdb")
            self._drop_old()

    # ---- inside ---------------------------------------------------------------------------

    def _refuse_after_fork(self) -> None:
        if os.getpid() != self._process:
            raise StoreError(
                f"this store was opened by process {self._process} and is used by its forked "
                f"child {os.getpid()}: open it again in the child."
            )

    @contextmanager
    def _cursor(self) -> Iterator[tuple[_Opened, duckdb.DuckDBPyConnection]]:
        self._refuse_after_fork()
        opened = self._newest()
        cursor = opened.connection.cursor()
        try:
            yield opened, cursor
        finally:
            cursor.close()
            self._release(opened)

    def _newest(self) -> _Opened:
        with self._guard:
            name = self.current()
            if self._opened is None or self._opened.name != name:
                fresh = self._open_file(name)
                if self._opened is not None:
                    self._retire(self._opened)
                self._opened = fresh
            self._opened.users += 1
            return self._opened

    def _open_file(self, name: str) -> _Opened:
        try:
            return _Opened(self.root / name, self._config)
        except duckdb.IOException:
            again = self.current()  # it may just have been replaced and removed: look once more
            if again == name:
                raise
            return _Opened(self.root / again, self._config)

    def _release(self, opened: _Opened) -> None:
        with self._guard:
            opened.users -= 1
            if opened.retired and opened.users == 0:
                opened.connection.close()

    @staticmethod
    def _retire(opened: _Opened) -> None:
        opened.retired = True
        if opened.users == 0:
            opened.connection.close()

    @contextmanager
    def _writing(self, wait_seconds: float) -> Iterator[None]:
        self.root.mkdir(parents=True, exist_ok=True)
        lock = FileLock(self.root / "WRITER.lock", timeout=wait_seconds)
        holder = self.root / "WRITER.json"
        try:
            lock.acquire()
        except Timeout as timeout:
            raise StoreBusy(f"{describe_writer(self.root)}; gave up waiting.") from timeout
        try:
            said = {"since": datetime.now().isoformat(timespec="minutes"), "process": os.getpid()}
            holder.write_text(json.dumps(said), encoding="ascii")
            yield
        finally:
            holder.unlink(missing_ok=True)
            shutil.rmtree(self.root / f"spill-{os.getpid()}", ignore_errors=True)
            lock.release()

    def _next_copy(self) -> tuple[int, Path]:
        numbers = [int(m[1]) for p in self.root.iterdir() if (m := _SNAPSHOT.match(p.name))]
        number = max(numbers, default=0) + 1
        building = self.root / f"store-{number}.building"
        if (self.root / "CURRENT").exists():
            shutil.copyfile(self.root / self.current(), building)
        return number, building

    def _keep_catalogue(self, connection: duckdb.DuckDBPyConnection) -> None:
        catalogue = self.working_catalogue()
        folder = sorted((self.root / "catalogue").glob("*.toml"))
        connection.execute("DELETE FROM catalogue_file")
        for path in folder:
            connection.execute(
                "INSERT INTO catalogue_file VALUES (?, ?)",
                [path.name, path.read_text(encoding="utf-8")],
            )
        migrations.write_meta(connection, "catalogue", catalogue.fingerprint)
        migrations.write_meta(connection, "engine", duckdb.__version__)

    def _point_to(self, building: Path, final: Path) -> None:
        if building.with_name(f"{building.name}.wal").exists():
            raise StoreError(f"{building.name} was not closed cleanly; nothing was published.")
        _flush(building)
        building.replace(final)
        pointer = self.root / "CURRENT.new"
        pointer.write_text(final.name, encoding="ascii")
        _flush(pointer)
        pointer.replace(self.root / "CURRENT")
        _flush(self.root)

    def _drop_old(self) -> None:
        found = [(int(m[1]), p) for p in self.root.iterdir() if (m := _SNAPSHOT.match(p.name))]
        for _, path in sorted(found)[:-KEPT_SNAPSHOTS]:
            young = time.time() - path.stat().st_mtime < YOUNG_SECONDS
            if path.name != self.current() and not young:
                with suppress(PermissionError):  # still open on a system that locks open files
                    path.unlink()

    def _back_up(self, name: str, version: int) -> None:
        shutil.copyfile(self.root / name, self.root / f"before-schema-{version + 1}.backup")


def describe_writer(root: Path) -> str:
    """Say who is writing to the store: since when and which process."""
    try:
        said = json.loads((root / "WRITER.json").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return "another ingest is running"
    since = str(said["since"]).replace("T", " ")
    return f"another ingest is running since {since}, process {said['process']}"


def _flush(path: Path) -> None:
    if os.name == "nt" and path.is_dir():
        return  # a folder cannot be flushed there
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
