"""Which positions keep coming back: chains of repeats, open ones and the longest first."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.clocks import on_clock, whole
from analytics.answers.ground import Ground, count_failures, lay_ground, text_of
from analytics.answers.look_back import LookBack
from analytics.errors import ScopeError
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "locomotive", "component", "position", "length", "first", "last", "open", "down_hours", "cost",
    "actions",
)  # fmt: skip
STEP_COLUMNS = (
    "locomotive", "component", "position", "length", "step", "found", "gap_days", "defect",
    "action", "closed", "down_hours", "cost",
)  # fmt: skip


def repeats(
    reader: Reader,
    scope: Scope,
    *,
    window: str = "30d",
    same_defect: bool = False,
    at_least: int = 2,
    steps: bool = False,
) -> Answer:
    """List the chains of repeats: runs of failures of one position that its closings did not end.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked. A chain is kept whole where any of its failures fits the
        defects and depots, and where its last lies in the period. Clock and level are not used.
    window
        `30d`, `500h` or `2000km` after a closing.
    same_defect
        Whether only the same defect continues a chain.
    at_least
        The shortest chain listed, in failures.
    steps
        A row per failure of each chain instead.

    Returns
    -------
    Answer
        A row per chain, open ones first, then longest, then latest: position (empty: not stated),
        its length in counted failures, first and last found, whether one is open, down hours and
        cost of those where it is written (empty: of none), and the closing action of each (`open`,
        or `?` where none was written), joined by ` > `. With `steps`: the chains in the same order,
        each failure with its number in the chain, when it was found, the days since the closing
        before it (empty for the first), what was done and when it was closed (empty: open).
    """
    if at_least < 1:
        raise ScopeError(f"at_least must be 1 or more, but is {at_least!r}.")
    look_back = LookBack.read(window)
    ground = lay_ground(reader, scope)
    _lay_links(ground, look_back, same_defect=same_defect, at_least=at_least)
    found = _listed(ground, "chain.sql", at_least)
    counted = count_failures(ground)
    basis = make_basis(
        ground,
        f"window {window}, {'same defect' if same_defect else 'any defect'}",
        events=counted["seen"],
        left_out={"out_of_window": counted["unseen"]} if counted["unseen"] else {},
    )
    basis = replace(basis, clock=look_back.clock)
    chains = found[list(COLUMNS)]
    table = _listed(ground, "chain_step.sql", at_least)[list(STEP_COLUMNS)] if steps else chains
    return Answer("repeats", table, basis, _reading(chains, look_back), _notes(chains))


def _lay_links(ground: Ground, look_back: LookBack, *, same_defect: bool, at_least: int) -> None:
    prev = "prev_same" if same_defect else "prev_any"
    query = text_of("chain_link.sql").format(
        **ground.sources,
        kind="defect" if same_defect else "0",
        counted=ground.counted,
        gap=look_back.gap(prev, "found"),
        gap_days=replace(look_back, clock="days").gap(prev, "found"),
        at_least=min(at_least, 2),
        amount=look_back.amount,
        depot_kept=ground.kept(depot="coalesce(depot, '')"),
        defect_kept=ground.kept(defect="defect"),
    )
    ground.make("asked_link", query)


def _listed(ground: Ground, name: str, at_least: int) -> pd.DataFrame:
    found = ground.rows(text_of(name).format(at_least=at_least), since=ground.since)
    return found.assign(position=found["position"].astype("Int64"))


def _reading(table: pd.DataFrame, look_back: LookBack) -> Message:
    if table.empty:
        return on_clock("repeats.none", look_back.clock, window=whole(look_back.amount))
    longest = table.sort_values("length", ascending=False, kind="stable").iloc[0]
    return on_clock(
        "repeats.longest",
        look_back.clock,
        window=whole(look_back.amount),
        chains=len(table),
        open=int(table["open"].sum()),
        component=str(longest["component"]),
        place="" if pd.isna(longest["position"]) else f" {longest['position']}",
        locomotive=str(longest["locomotive"]),
        length=int(longest["length"]),
        first=longest["first"].date(),
        last=longest["last"].date(),
    )


def _notes(table: pd.DataFrame) -> tuple[Message, ...]:
    unplaced = int(table["position"].isna().sum())
    notes = [Message("repeats.not_stated", chains=unplaced)] if unplaced else []
    return (*notes, *((Message("repeats.uncounted"),) if len(table) else ()))
