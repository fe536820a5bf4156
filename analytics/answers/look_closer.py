"""What the crew should give a second look on one locomotive at the next inspection."""

from __future__ import annotations

from dataclasses import replace

from analytics.answer import Answer, Message
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
_NAMED = 8  # locomotives named to one who named none


def look_closer(reader: Reader, scope: Scope) -> Answer:
    """List what deserves a second look on one locomotive: 10 lines at most.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; it names one locomotive. `until` moves the data cut back.

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
    kinds = table["kind"].value_counts()
    waiting = int(kinds.get("open", 0))
    likelier = int(kinds.get("likely", 0) + kinds.get("after-closing", 0))
    reading = Message("closer.nothing", locomotive=name)
    if len(table):
        reading = Message(
            "closer.lines", locomotive=name, lines=len(table), open=waiting, likelier=likelier
        )
    notes = [Message("closer.adds")]
    still = len(findings(reader, replace(scope, counting="any"), open=True).table)
    if waiting == MOST_OPEN and still > waiting:
        notes.append(Message("closer.more_open", more=still - waiting))
    if len(table) < MOST_LINES:
        notes.append(Message("closer.fewer", times=ABOVE_CLASS))
    return Answer("look-closer", table, basis, reading, tuple(notes))


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
