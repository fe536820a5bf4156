"""Schema versions: one SQL file each, applied in order inside the next snapshot.

Version n is the state after file `schema/000n_*.sql`. A migration only ever runs on a copy that is
not yet published, so a failure leaves the store as it was.
"""

from __future__ import annotations

from importlib.resources import files

import duckdb

from analytics.errors import StoreError


def _steps() -> list[str]:
    folder = files("analytics.store") / "schema"
    names = sorted(p.name for p in folder.iterdir() if p.name[:4].isdigit())
    return [(folder / name).read_text(encoding="utf-8") for name in names]


NEWEST = len(_steps())


def version_of(connection: duckdb.DuckDBPyConnection, name: str) -> int:
    """Return the schema version of a snapshot (0 = empty file).

    Raises
    ------
    StoreError
        If the snapshot was written by a newer program.
    """
    tables = connection.execute(
        "SELECT count(*) FROM duckdb_tables() WHERE schema_name = 'main' AND table_name = 'meta'"
    ).fetchall()
    if tables[0][0] == 0:
        return 0
    found = connection.execute("SELECT value FROM meta WHERE name = 'schema'").fetchall()
    version = int(found[0][0])
    if version > NEWEST:
        raise StoreError(
            f"{name} has schema version {version}, but this shedbook knows versions up to "
            f"{NEWEST}: install the newer shedbook that wrote it."
        )
    return version


def bring_up_to_date(connection: duckdb.DuckDBPyConnection, *, to: int | None = None) -> None:
    """Apply the missing migrations, each with its record in one transaction."""
    newest = NEWEST if to is None else to
    for version in range(version_of(connection, "the snapshot") + 1, newest + 1):
        connection.execute("BEGIN")
        connection.execute(_steps()[version - 1])
        write_meta(connection, "schema", str(version))
        connection.execute("COMMIT")


def write_meta(connection: duckdb.DuckDBPyConnection, name: str, value: str) -> None:
    """Set one entry of the meta table."""
    connection.execute("INSERT OR REPLACE INTO meta VALUES (?, ?)", [name, value])


def read_meta(connection: duckdb.DuckDBPyConnection, name: str, default: str = "") -> str:
    """Read one entry of the meta table."""
    found = connection.execute("SELECT value FROM meta WHERE name = ?", [name]).fetchall()
    return str(found[0][0]) if found else default
