"""Hand-made answers with the fixed columns of each command, to draw pages without a history."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import wraps
from importlib import import_module
from typing import Any

import numpy as np
import pandas as pd

from analytics import answers
from analytics.answer import Answer, Basis, Message, words
from analytics.scope import Scope

WORDS = {
    **words("en"),
    "made_up.mtbf": "Alder runs {alder} h between failures, Birch {birch} h.",
    "made_up.note": "The rate is not constant (p = {p}).",
    "made_up.survival": "Half of them have been replaced for failure by {age} h.",
    "made_up.mcf": "By 20 000 h a locomotive has had {value} failures.",
    "made_up.repeats": "{chains} chains came back within 30 days.",
    "made_up.recurrence": "{share} came back within 30 days.",
    "scope.bad_value": "{word} cannot be {value!r}; its default is used.",
    "scope.empty_period": "The period is empty; the whole record is shown.",
}
NAMES = ("mtbf", "survival", "mcf", "recurrence", "repeats")
TRUE = dict(answers.QUESTIONS)
QUESTIONS = {**TRUE, **{name: f"tests.dashboard.made_up:{name}" for name in NAMES}}
"""Questions made up here; what else is asked gets its true answer."""
_KNOWN = ("by", "window", "same_defect", "at_least")
Question = Callable[..., Answer]


def as_asked_plainly(made_up: Question) -> Question:
    """Answer from here unless an option asks for another table; then the answer is the true one."""

    @wraps(made_up)
    def answer(reader: Any, scope: Scope, **options: Any) -> Answer:
        if not any(value for name, value in options.items() if name not in _KNOWN):
            return made_up(reader, scope, **options)
        module, _, name = TRUE[made_up.__name__].partition(":")
        true: Answer = getattr(import_module(module), name)(reader, scope, **options)
        return true

    return answer


def basis(scope: Scope, **parts: Any) -> Basis:
    values: dict[str, Any] = {
        "counting": scope.counting,
        "clock": scope.clock or "hours",
        "level": scope.level,
        "method": "exact-poisson",
        "filters": {"components": scope.components, "classes": scope.classes},
        "locomotives": 48,
        "exposure": 18_234_567.0,
        "events": 731,
        "censored": 412,
        "left_out": {"unknown_start": 37, "no_clock": 0},
        "data_cut": datetime(2026, 5, 31),
        "fingerprint": "store-3/ab12cd34",
    }
    return Basis(**values | parts)


@as_asked_plainly
def mtbf(_reader: object, scope: Scope, *, by: tuple[str, ...] = (), **_options: Any) -> Answer:
    if by == ("month",):
        return _answer("mtbf", scope, _months(), "made_up.mtbf", alder=24_900.0, birch=31_200.0)
    table = pd.DataFrame(
        {
            "class": ["Alder", "Birch", "Rowan"],
            "clock": scope.clock,
            "exposure": [12e6, 6e6, 3_000.0],
            "failures": [482, 192, 0],
            "mtbf": [24_896.3, 31_250.0, np.nan],
            "mtbf_lower": [23_100.0, 27_700.0, 1_302.9],
            "mtbf_upper": [26_900.0, 35_400.0, np.nan],
            "rate": [4.0e-5, 3.2e-5, 0.0],
            "rate_lower": [3.7e-5, 2.8e-5, 0.0],
            "rate_upper": [4.3e-5, 3.6e-5, 7.7e-4],
            "level": scope.level,
            "method": ["bootstrap", "exact-poisson", "exact-poisson"],
            "dispersion": [1.8, 1.1, np.nan],
            "constancy_p": [0.003, 0.4, np.nan],
            "note": None,
        }
    )
    notes = (Message("made_up.note", p=0.003),)
    answer = _answer("mtbf", scope, table, "made_up.mtbf", alder=24_900.0, birch=31_200.0)
    return Answer(answer.question, answer.table, answer.basis, answer.reading, notes)


@as_asked_plainly
def survival(_reader: object, scope: Scope, **_options: Any) -> Answer:
    parts = [
        _curve(name, 18_000 * (1 + n / 3), seed=n) for n, name in enumerate(["Alder", "Birch"])
    ]
    table = pd.concat(parts).assign(clock=scope.clock)
    return _answer("survival", scope, table, "made_up.survival", age=14_300.0)


@as_asked_plainly
def mcf(_reader: object, scope: Scope, **_options: Any) -> Answer:
    parts = []
    for n, name in enumerate(["Alder", "Birch"]):
        age = np.sort(np.random.default_rng(n).uniform(0, 22_000, 700))
        value = np.cumsum(np.full(age.size, (1 + n * 0.4) / 48))
        part = pd.DataFrame({"class": name, "age": age, "mcf": value})
        part["lower"], part["upper"] = value * 0.85, value * 1.17
        part["at_risk"], part["events"] = np.linspace(24, 6, age.size).astype(int), 1
        parts.append(part)
    table = pd.concat(parts).assign(clock=scope.clock)
    return _answer("mcf", scope, table, "made_up.mcf", value=12.8)


@as_asked_plainly
def recurrence(_reader: object, scope: Scope, **_options: Any) -> Answer:
    table = pd.DataFrame(
        {
            "action": ["replaced", "cleaned", "tightened", "nothing-found"],
            "findings": [402, 180, 91, 14],
            "closings": [402, 180, 91, 14],
            "repeats": [22, 61, 9, 7],
            "repeat_share": [0.055, 0.339, 0.099, 0.5],
            "matured": [398, 179, 90, 14],
            "same_day": [1, 4, 0, 2],
            "rate": [0.052, 0.334, 0.101, 0.5],
            "rate_lower": [0.035, 0.28, 0.052, 0.28],
            "rate_upper": [0.074, 0.41, 0.168, 0.74],
            "at_risk_at_window": [371, 118, 80, 6],
            "median_gap_days": [12.0, 8.0, 17.0, 2.5],
            "note": None,
        }
    )
    return _answer("recurrence", scope, table, "made_up.recurrence", share=0.14)


@as_asked_plainly
def repeats(_reader: object, scope: Scope, **_options: Any) -> Answer:
    table = pd.DataFrame(
        {
            "locomotive": ["B-3", "A-1"],
            "component": "injector",
            "position": [4, 11],
            "length": [5, 2],
            "first": pd.to_datetime(["2026-02-01", "2026-04-05"]),
            "last": pd.to_datetime(["2026-05-01", "2026-04-12"]),
            "open": [True, False],
            "down_hours": [12.5, 2.0],
            "cost": [910.0, 120.0],
            "actions": ["replaced > cleaned > ? > replaced > open", "cleaned > replaced"],
        }
    )
    return _answer("repeats", scope, table, "made_up.repeats", chains=2)


def empty(table_of: Callable[..., Answer], scope: Scope, **options: Any) -> Answer:
    """Return the answer that an empty record would give: the columns, no rows."""
    answer = table_of(None, scope, **options)
    bare = basis(scope, locomotives=0, exposure=0.0, events=0, censored=0, data_cut=None)
    return Answer(answer.question, answer.table.iloc[:0], bare, answer.reading)


def _answer(question: str, scope: Scope, table: pd.DataFrame, key: str, **values: Any) -> Answer:
    return Answer(question, table, basis(scope), Message(key, **values))


def _curve(name: str, scale: float, *, seed: int) -> pd.DataFrame:
    age = np.sort(np.random.default_rng(seed).weibull(2.2, 300) * scale)
    alive = 1 - (np.arange(age.size) + 1) / (age.size + 60)
    width = 1.64 * np.sqrt(alive * (1 - alive) / np.arange(age.size + 60, 60, -1))
    return pd.DataFrame(
        {
            "class": name,
            "age": np.r_[0, age],
            "survival": np.r_[1, alive],
            "lower": np.r_[1, np.clip(alive - width, 0, 1)],
            "upper": np.r_[1, np.clip(alive + width, 0, 1)],
            "at_risk": np.r_[300, np.arange(300, 0, -1)],
            "events": np.r_[0, np.ones(300, dtype=int)],
        }
    )


def _months() -> pd.DataFrame:
    months = pd.date_range("2021-06-01", periods=60, freq="MS")
    season = 0.04 + 0.02 * np.sin(np.arange(60) / 12 * 2 * np.pi)
    failures = np.random.default_rng(5).poisson(season * 300)
    rate = failures / 300 / 1_000
    return pd.DataFrame(
        {
            "month": months,
            "clock": "hours",
            "exposure": 300_000.0,
            "failures": failures,
            "rate": rate,
            "rate_lower": rate * 0.6,
            "rate_upper": rate * 1.5 + 3e-6,
        }
    )
