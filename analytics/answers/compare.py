"""Whether two rates differ: before and after, class against class, depot against depot."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import NOT_IN_USE, exposure_notes, in_use, make_basis
from analytics.answers.clocks import chance, whole
from analytics.answers.ground import Ground
from analytics.answers.groups import (
    Key,
    cells,
    check_groups,
    each_group,
    events,
    finished,
    label,
    left_out,
)
from analytics.answers.sides import Asked, Sides, lay_sides
from analytics.estimate.multiple import benjamini_hochberg
from analytics.estimate.rate import FEWEST_FOR_BOOTSTRAP, FloatArray, sums_by
from analytics.estimate.rate_ratio import ComparedRates, compare_populations
from analytics.scope import GROUPS, Scope
from analytics.store import Reader

COLUMNS = (
    "clock", "first", "second", "exposure_first", "failures_first", "rate_first",
    "exposure_second", "failures_second", "rate_second", "ratio", "ratio_lower", "ratio_upper",
    "p", "q", "method", "level", "note",
)  # fmt: skip
STANDS_OUT_Q = 0.10
"""At or below this q a difference is said to stand out beyond chance."""


def compare(
    reader: Reader,
    scope: Scope,
    *,
    by: Sequence[str] = (),
    at: str | datetime | None = None,
    span: str | None = None,
    between: str | None = None,
    modification: str | None = None,
) -> Answer:
    """Compare two failure rates exactly, in each group.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    by
        Group words, any of `analytics.scope.GROUPS` but `month` and the word of `between`.
    at
        Before this instant (first) and from it on (second).
    span
        `28d` or `4w`: the last 28 days up to the data cut (second) and the 28 before (first).
    between
        `class` or `depot`: each pair with a failure; above 4 each (second) and all others (first).
    modification
        The name of a change: before and from each locomotive's own first date on.

    Returns
    -------
    Answer
        A row per group and pair: exposure, failures and rate of both, ratio second over first with
        bounds and p (`analytics.estimate.rate_ratio.compare_populations`), and q, which allows for
        the number of rows. Clearest first; of rows without a p those with most failures.

    Conventions
    -----------
    Exactly one of at, span, between, modification. Failures are those of `mtbf`; a failure at the
    very cut is after it. Locomotives without the modification are left out and counted.

    Raises
    ------
    ScopeError
        For a name, group, date or span that cannot be used.
    """
    asked = Asked(at, span, between, modification)
    allowed = [word for word in GROUPS if word not in ("month", between)]
    check_groups(by, "compare", allowed=allowed)
    ground, sides = lay_sides(reader, scope, asked)
    found = list(_compared(ground, sides, by))
    p = np.array([pair.rates.p for pair in found])
    q = benjamini_hochberg(p)
    counted = np.array([pair.rates.failures_a + pair.rates.failures_b for pair in found])
    order = np.lexsort((np.arange(len(found)), -counted * np.isnan(p), np.nan_to_num(p, nan=2.0)))
    rows = [_row(found[i], float(q[i]), ground, by) for i in order]
    table = finished(rows, (*by, *COLUMNS))
    for column in ("failures_first", "failures_second"):
        table[column] = table[column].astype("int64")
    basis = make_basis(
        ground,
        ", ".join(sorted({pair.rates.method for pair in found})),
        events=len(events(ground, ())),
        exposure=float(cells(ground, ())["exposure"].sum()),
        left_out=left_out(ground, without_position="position" in by),
    )
    reading = _reading([(found[i], float(q[i])) for i in order], ground, by)
    return Answer("compare", table, basis, reading, tuple(_notes(found, ground, by, sides)))


@dataclass(frozen=True, slots=True)
class _Pair:
    key: Key
    first: str
    second: str
    rates: ComparedRates  # second over first
    fewest: int  # locomotives with exposure, on the side that has fewer


def _compared(ground: Ground, sides: Sides, by: Sequence[str]) -> Iterator[_Pair]:
    words = [*by, sides.word]
    failed = events(ground, words)
    counts = failed.groupby([*words, "unit"], sort=False).size().rename("failures").reset_index()
    counted = cells(ground, words).merge(counts, on=[*words, "unit"], how="outer")
    counted = counted.fillna({"exposure": 0.0, "failures": 0})
    for key, part, _ in each_group(counted, by):
        names = [str(name) for name in part[sides.word].unique()]
        for label_first, first, second in sides.pairs(names):
            pair = _pair(part, sides.word, first, second, ground.scope.level)
            if sides.word == "month" or pair[0].failures_a + pair[0].failures_b:
                yield _Pair(key, label_first, sides.label(second), *pair)


def _pair(
    part: pd.DataFrame, word: str, first: str | None, second: str, level: float
) -> tuple[ComparedRates, int]:
    names, units = part[word].to_numpy(), part["unit"].to_numpy()
    codes, known = pd.factorize(units)
    sides: list[FloatArray] = []
    for inside in (names == second, names != second if first is None else names == first):
        sides += [
            sums_by(codes[inside], part[column].to_numpy(float)[inside], len(known))
            for column in ("failures", "exposure")
        ]
    fewest = min(int(np.sum(sides[1] > 0)), int(np.sum(sides[3] > 0)))
    return compare_populations(*sides, level=level), fewest


def _row(pair: _Pair, q: float, ground: Ground, by: Sequence[str]) -> dict[str, object]:
    rates = pair.rates
    return {
        **dict(zip(by, pair.key, strict=True)),
        "clock": ground.clock,
        "first": pair.first,
        "second": pair.second,
        "exposure_first": rates.exposure_b,
        "failures_first": rates.failures_b,
        "rate_first": _rate(rates.failures_b, rates.exposure_b),
        "exposure_second": rates.exposure_a,
        "failures_second": rates.failures_a,
        "rate_second": _rate(rates.failures_a, rates.exposure_a),
        "ratio": rates.ratio,
        "ratio_lower": rates.lower,
        "ratio_upper": rates.upper,
        "p": rates.p,
        "q": q,
        "method": rates.method,
        "level": rates.level,
        "note": _note(pair),
    }


def _rate(failures: int, exposure: float) -> float:
    return failures / exposure if exposure > 0 else float("nan")


def _note(pair: _Pair) -> str:
    rates = pair.rates
    used = rates.exposure_a > 0 and rates.exposure_b > 0
    few = rates.differ and rates.method == "exact-binomial" and rates.ratio > 0
    said = [
        (not used, Message("compare.one_side_unused")),
        (used and not rates.failures_a + rates.failures_b, Message("compare.no_failure")),
        (used and rates.failures_a > 0 == rates.failures_b, Message("compare.none_first")),
        (used and rates.failures_b > 0 == rates.failures_a, Message("compare.none_second")),
        (rates.method == "bootstrap", Message("note.locomotives_differ")),
        (few, Message("compare.few_differ")),
    ]
    return "; ".join(say(message) for applies, message in said if applies)


def _reading(ordered: list[tuple[_Pair, float]], ground: Ground, by: Sequence[str]) -> Message:
    """Say the clearest difference, or that none stands out."""
    tested = [(pair, q) for pair, q in ordered if not np.isnan(q)]
    if not tested:
        return _nothing([pair for pair, _ in ordered]) if in_use(ground) else Message(NOT_IN_USE)
    clear = sum(q <= STANDS_OUT_Q for _, q in tested)
    if not clear and len(tested) > 1:
        return Message("compare.none_among", rows=len(tested))
    pair = tested[0][0]
    rates = pair.rates
    values = {
        "subject": label(by, pair.key, ground) or say(Message("compare.together")),
        "first": pair.first,
        "second": pair.second,
        "failures": rates.failures_a,
        "before": rates.failures_b,
        "p": chance(rates.p),
    }
    bounds = {
        "ratio": rates.ratio,
        "lower": rates.lower,
        "upper": rates.upper,
        "percent": whole(100 * rates.level),
    }
    among = {"rows": len(tested), "clear": clear}
    if np.isnan(rates.ratio):
        least = {"lower": rates.lower}
        if len(tested) > 1:
            return Message("compare.clearest_from_none", **values, **least, **among)
        key = "compare.one_clear_from_none" if clear else "compare.one_unclear_from_none"
        return Message(key, **values, **least)
    if len(tested) > 1:
        return Message("compare.clearest", **values, **bounds, **among)
    return Message("compare.one_clear" if clear else "compare.one_unclear", **values, **bounds)


def _nothing(pairs: list[_Pair]) -> Message:
    """Say why no row could be compared: a side nowhere in use, or no failure."""
    used_first = any(pair.rates.exposure_b > 0 for pair in pairs)
    used_second = any(pair.rates.exposure_a > 0 for pair in pairs)
    failures = sum(pair.rates.failures_a + pair.rates.failures_b for pair in pairs)
    if pairs and not used_first:
        return Message("compare.first_unused", first=pairs[0].first, failures=failures)
    if pairs and not used_second:
        return Message("compare.second_unused", second=pairs[0].second, failures=failures)
    if failures:
        return Message("compare.never_both", failures=failures)
    return Message("compare.nothing")


def _notes(found: list[_Pair], ground: Ground, by: Sequence[str], sides: Sides) -> list[Message]:
    notes = exposure_notes(ground, by)
    if sides.own_dates:
        notes.insert(0, Message("compare.regression"))
    if sides.without:
        notes.append(Message("compare.without", locomotives=sides.without))
    widened = sum(pair.rates.method == "bootstrap" for pair in found)
    if widened and len(found) == 1:
        notes.append(Message("mtbf.one_locomotives_differ"))
    elif widened:
        notes.append(Message("mtbf.locomotives_differ", rows=widened, all=len(found)))
    narrow = sum(
        p.rates.differ and p.rates.ratio > 0 and p.fewest < FEWEST_FOR_BOOTSTRAP for p in found
    )
    if narrow:
        notes.append(Message("compare.too_narrow", rows=narrow, all=len(found)))
    tested = sum(not np.isnan(pair.rates.p) for pair in found)
    if tested > 1:
        notes.append(Message("compare.chance", rows=tested))
    return notes
