"""Make the demo store: draw the railway, write its files, hand them in like a depot would."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

from filelock import FileLock, Timeout

from analytics.catalogue.load import load_text, shipped_files
from analytics.catalogue.model import Catalogue
from analytics.errors import StoreBusy, StoreError
from analytics.handin import ingest
from analytics.store import Store
from data_demo.messy import write_as_handed_in
from data_demo.planning import demo_toml
from data_demo.scenario import AFTER_LAST_DAY, DEFAULT_SEED, OPERATOR, Scenario
from data_demo.simulate import simulate_blocks

HANDED_IN = "handed-in"
_CARD, _LOCK = "demo.json", "DEMO.lock"
_MADE_BY = "shedbook demo"
_SET_ASIDE = "set_aside"
_HABITS = 3  # of the files; a demo of other files is made anew
MOST_IN_WORKBOOKS = 2_000  # locomotive-years: some 100,000 findings of one depot, of 1,048,576


def build(
    store_root: Path | str,
    *,
    locomotives: int = 48,
    years: int = 5,
    seed: int = DEFAULT_SEED,
    progress: Callable[[str], None] | None = None,
) -> Store:
    """Return the demo store in a folder, making it first unless it is there and complete.

    The files handed in stay in `handed-in` under the folder; `demo.json` says what the demo is and
    how many rows each rule set aside, and is marked complete at the very end. A demo that is
    unfinished, of another size or seed, or made by another version is cleared away and made anew.

    Parameters
    ----------
    store_root : path
        A folder of the demo's own; made if need be.
    locomotives, years, seed : int
        Size of the railway and the random numbers it is drawn with.
    progress : callable, optional
        Told what is being done, one line at a time.

    Raises
    ------
    InputError
        If there is no demo of that size.
    StoreError
        If the folder holds something that is not a demo: nothing is touched then.
    StoreBusy
        If another process is making the demo there and does not finish.
    """
    root = Path(store_root).absolute()
    scenario = Scenario(locomotives=locomotives, years=years, seed=seed)
    tell = progress or _say_nothing
    catalogue_files = shipped_files()
    catalogue = load_text(catalogue_files)
    card = _card(scenario, catalogue)
    _refuse_foreign(root)
    root.mkdir(parents=True, exist_ok=True)
    try:
        with FileLock(root / _LOCK, timeout=600):
            found = {name: v for name, v in _read_card(root).items() if name != _SET_ASIDE}
            if found == {**card, "complete": True}:
                tell("the demo is there already")
                return Store.open(root)
            _clear(root)
            _write_card(root, card, complete=False)
            store = Store.create(root, catalogue_files)
            set_aside = _hand_in(store, scenario, catalogue, tell)
            _write_planning(store, catalogue)
            _write_card(root, {**card, _SET_ASIDE: set_aside}, complete=True)
            return store
    except Timeout as timeout:
        raise StoreBusy(f"another process is making the demo in {root}.") from timeout


def _hand_in(
    store: Store, scenario: Scenario, catalogue: Catalogue, tell: Callable[[str], None]
) -> dict[str, int]:
    """Hand in depot by depot, then what was corrected; return rows set aside by rule."""
    tell(
        f"drawing {scenario.years} years of {OPERATOR}, an invented railway with "
        f"{scenario.locomotives} locomotives"
    )
    hand_ins = write_as_handed_in(
        simulate_blocks(scenario, catalogue),
        store.root / HANDED_IN,
        catalogue,
        in_workbooks=scenario.locomotives * scenario.years <= MOST_IN_WORKBOOKS,
    )
    set_aside: Counter[str] = Counter()
    for call in hand_ins.calls:
        report = ingest(store, call.files, mapping=call.mapping, progress=tell)
        set_aside.update(str(rule) for rule in report.set_aside["rule"])
    return dict(set_aside)


def _write_planning(store: Store, catalogue: Catalogue) -> None:
    """Put what the planner hands in beside the store, where `plan` finds it."""
    with store.read() as reader:
        rows = reader.cursor.execute(
            "SELECT locomotive, class FROM history.record WHERE ends_at IS NOT NULL AND"
            " (in_service_to IS NULL OR in_service_to > ends_at) ORDER BY locomotive"
        ).fetchall()
    text = demo_toml(catalogue, {str(name): str(of) for name, of in rows}, AFTER_LAST_DAY)
    if text:
        (store.root / "planning.toml").write_text(text, encoding="utf-8")


def _say_nothing(_line: str) -> None:
    pass


def _card(scenario: Scenario, catalogue: Catalogue) -> dict[str, object]:
    return {
        "made_by": _MADE_BY,
        "version": version("shedbook"),
        "habits": _HABITS,
        "catalogue": catalogue.fingerprint,
        "locomotives": scenario.locomotives,
        "years": scenario.years,
        "seed": scenario.seed,
    }


def _read_card(root: Path) -> dict[str, object]:
    """Return what the folder says of its demo; empty where it says nothing that can be read."""
    try:
        card = json.loads((root / _CARD).read_text(encoding="ascii"))
    except (OSError, ValueError):
        return {}
    return card if isinstance(card, dict) else {}


def _write_card(root: Path, card: dict[str, object], *, complete: bool) -> None:
    text = json.dumps({**card, "complete": complete}, indent=2)
    fresh = root / f"{_CARD}.new"
    fresh.write_text(text + "\n", encoding="ascii")
    fresh.replace(root / _CARD)  # never half written


def _refuse_foreign(root: Path) -> None:
    """Refuse a folder with anything in it that no demo has put there."""
    if root.exists() and not root.is_dir():
        raise StoreError(f"{root} is not a folder; name another place for the demo.")
    held = [path.name for path in root.iterdir()] if root.is_dir() else []
    if set(held) - {_LOCK} and _read_card(root).get("made_by") != _MADE_BY:
        raise StoreError(f"{root} holds something that is not the demo; name another folder.")


def _clear(root: Path) -> None:
    for path in root.iterdir():
        if path.name == _LOCK:
            continue
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
