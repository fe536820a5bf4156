"""What the crew should give a second look on one locomotive at the next inspection."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.findings import findings
from analytics.answers.ground import lay_ground
from analytics.answers.look_lines import ABOVE_CLASS, MOST_LINES, MOST_OPEN, WINDOW_DAYS, read_lines
from analytics.errors import ScopeError
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "rank", "component", "position", "kind", "chance", "reason", "last_action", "last_date",
)  # fmt: skip
_SAID_OF = {
    "open": "closer.of_open",
    "reading": "closer.of_reading",
    "after-closing": "closer.of_closed",
    "likely": "closer.of_likely",
    "season": "closer.of_season",
}
_NAMED = 8  # locomotives named to one who named none


def look_closer(reader: Reader, scope: Scope) -> Answer:
    """List what deserves a second look on one locomotive: 10 lines at most.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; it names one locomotive. `until` moves the data cut back, `since` hides
        nothing.

    Returns
    -------
    Answer
        A row per line, best first: component and position (empty: any of its positions), `kind`
        (open, reading, after-closing, likely, season), the chance of a failure until the next
        inspection where one is told, why, what was done there last and when.

    Conventions
    -----------
    METHODS section 12; see `analytics.answers.look_lines.read_lines`.

    Raises
    ------
    ScopeError
        If not one locomotive is named.
    """
    scope = replace(scope, since=None)  # what is open is open, whenever it was found
    ground = lay_ground(reader, scope)
    _refuse_many(reader, scope)
    lines = read_lines(reader, scope)
    table = lines[list(COLUMNS)].reset_index(drop=True)
    basis = make_basis(
        ground,
        f"intensity by age, ratio of the locomotive; returns {WINDOW_DAYS} days after a closing",
        events=len(table),
    )
    name = scope.locomotives[0]
    waiting = int((table["kind"] == "open").sum())
    reading = Message("closer.nothing", locomotive=name)
    if len(table):
        reading = Message("closer.lines", locomotive=name, lines=len(table), parts=_parts(table))
    notes = [Message("closer.adds")]
    if len(table):
        notes.append(Message("closer.mark"))
    if table["chance"].notna().any():
        notes.append(Message("closer.chance"))
    still = len(findings(reader, replace(scope, counting="any"), open=True).table)
    if waiting == MOST_OPEN and still > waiting:
        notes.append(Message("closer.more_open", more=still - waiting))
    if len(table) < MOST_LINES:
        notes.append(Message("closer.fewer", times=ABOVE_CLASS))
    return Answer("look-closer", table, basis, reading, tuple(notes))


def _parts(table: pd.DataFrame) -> str:
    """Say how many lines there are of each kind."""
    count = table["kind"].value_counts()
    said = (
        say(Message(key, lines=int(count[kind]))) for kind, key in _SAID_OF.items() if kind in count
    )
    return ", ".join(said)


def _refuse_many(reader: Reader, scope: Scope) -> None:
    if len(scope.locomotives) == 1:
        return
    asked = replace(scope, locomotives=())
    names = lay_ground(reader, asked).rows(
        "SELECT locomotive FROM asked_record ORDER BY locomotive"
    )["locomotive"]
    some = ", ".join(names[:_NAMED]) + (", \u2026" if len(names) > _NAMED else "")
    known = f"on record: {some}" if len(names) else "there is none on record yet"
    raise ScopeError(
        f"look-closer is for one locomotive: name it with --locomotive ({known}); "
        f"{len(scope.locomotives)} were named."
    )
