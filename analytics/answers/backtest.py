"""What the forecasts were worth at past dates, beside simpler ways to choose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message
from analytics.answers.basis import make_basis
from analytics.answers.clocks import whole
from analytics.answers.ground import lay_ground
from analytics.answers.outlook import read_horizon
from analytics.answers.trials import LIST_DAYS, Trials, choose_cuts, run_trials
from analytics.estimate.forecast import count_bounds
from analytics.estimate.rate import FloatArray, IntArray
from analytics.estimate.scores import (
    Score,
    brier_terms,
    calibrate,
    chosen_most,
    clustered,
    log_terms,
    numbered,
)
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "method", "against", "measure", "value", "lower", "upper", "cuts", "positions", "outcomes",
    "note",
)  # fmt: skip
CALIBRATION_COLUMNS = ("decile", "predicted", "observed", "lower", "upper", "n")
TOP_SHARE = 0.05
TOP_OF_A_LOCOMOTIVE = 10
FORECAST, CHANCE, LIST = "forecast", "chance", "look-closer"
# Each way to choose: what it ranks by, and the chance it tells (empty: none).
METHODS = {
    FORECAST: ("chance", "chance"),
    "age": ("age_chance", "age_chance"),
    "past-count": ("past", "count_chance"),
    "class-rate": ("class_chance", "class_chance"),
    CHANCE: ("", ""),
}


def backtest(
    reader: Reader,
    scope: Scope,
    *,
    horizon: str = "28d",
    cuts: int = 10,
    calibration: bool = False,
) -> Answer:
    """Forecast at past dates from what was known then, and hold it against what came.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; names are checked.
    horizon
        How far each forecast looks, `28d`.
    cuts
        At how many dates at most, spread over the second half of the record, a horizon apart at
        least.
    calibration
        Rows of chances told beside what came, by tenths, in place of the scores.

    Returns
    -------
    Answer
        A row per method and measure (`against` empty: its own value; else its lead over another,
        within the same draws of locomotives). `catch_top_5_percent`, `catch_10_a_locomotive`:
        share of the outcomes among the positions it put first (lead: difference). `brier`,
        `log_score`: mean squared error, mean minus log chance (lead: 1 - ratio, above 0 is better).
        `inside_bounds`: share of locomotives whose count fell inside the bounds told;
        `found_ratio`: found over expected. `list_share`: share of new episodes of the next 7 days
        on positions of the look-closer list (lead: ratio, its lift); `open_share`: of those on
        positions listed as open. What was found at an inspection done with such a list in hand
        counts for neither.

    Conventions
    -----------
    METHODS sections 9 and 12; `analytics.answers.trials` and `analytics.answers.known_at`. Methods:
    `forecast` (age, kind and locomotive), `age` (age and kind), `past-count` (failures of the
    position so far; as a chance drawn to the class rate by half a failure), `class-rate`, `chance`
    (drawn by lot). Ties share evenly.
    """
    days = read_horizon(horizon)
    ground = lay_ground(reader, scope)
    moments = choose_cuts(ground, days, cuts)
    columns = CALIBRATION_COLUMNS if calibration else COLUMNS
    judge = Judge.of(run_trials(reader, scope, moments, days), scope.level) if moments else None
    outcomes = judge.outcomes if judge else 0
    method = f"{whole(days)} days ahead at {len(moments)} past dates"
    basis = make_basis(ground, method, events=outcomes)
    if judge is None or not outcomes:
        key = "backtest.nothing" if moments else "backtest.none"
        return Answer("backtest", pd.DataFrame(columns=list(columns)), basis, Message(key))
    notes = [Message("backtest.came"), Message("backtest.estimated")]
    too_few = len(judge.trials.positions) - len(judge.scored)
    if too_few:
        notes.append(Message("backtest.few", positions=too_few))
    if calibration:
        table = judge.calibration()
        return Answer("backtest", table, basis, _calibrated(table), tuple(notes))
    table = judge.table()
    if (judge.scored["stated"] < 1).any():
        notes.append(Message("backtest.unplaced"))
    notes.append(Message("backtest.lists", days=LIST_DAYS))
    by_list = int(judge.scored["by_list"].sum())
    if by_list:
        notes.append(Message("backtest.by_list", defects=by_list))
    return Answer("backtest", table, basis, sum_up(table, days), tuple(notes))


@dataclass(frozen=True, slots=True, eq=False)
class Judge:
    """All forecasts with a chance, and the locomotive, cut and cut's locomotive of each."""

    scored: pd.DataFrame
    trials: Trials
    level: float
    cluster: IntArray
    cut: IntArray
    sheet: IntArray

    @classmethod
    def of(cls, trials: Trials, level: float) -> Judge:
        """Keep the forecasts that can be scored."""
        told = trials.positions
        scored = told[told["chance"].notna() & (told["weight"] > 0)].reset_index(drop=True)
        cluster, _ = numbered(scored["locomotive"].to_numpy(dtype=str))
        cut, _ = numbered(scored["cut"].to_numpy())
        sheet = np.asarray(scored.groupby(["cut", "locomotive"]).ngroup(), dtype=np.int64)
        return cls(scored, trials, level, cluster, cut, sheet)

    @property
    def outcomes(self) -> int:
        """How many positions had a new defect."""
        return int(self.scored["came"].sum())

    def table(self) -> pd.DataFrame:
        """Return the rows of `backtest`."""
        rows = [*self._scores(), *self._counts(), *self._lists()]
        table = pd.DataFrame(rows, columns=["method", "against", "measure", "score", "outcomes"])
        for name in ("value", "lower", "upper"):
            table[name] = [getattr(score, name) for score in table["score"]]
        table = table.assign(cuts=len(self.trials.cuts), positions=len(self.scored), note="")
        return table[list(COLUMNS)]

    def calibration(self) -> pd.DataFrame:
        """Return the rows of `backtest --calibration`."""
        found = calibrate(
            self.scored["chance"], self.scored["came"], self.scored["weight"], self.cluster,
            level=self.level,
        )  # fmt: skip
        names = [name for name in CALIBRATION_COLUMNS if name != "decile"]
        table = pd.DataFrame({name: getattr(found, name) for name in names})
        table = table.assign(decile=np.arange(1, len(table) + 1), n=table["n"].astype("int64"))
        return table[list(CALIBRATION_COLUMNS)]

    def _bound(self, parts: list[FloatArray], figure: Callable[[FloatArray], FloatArray]) -> Score:
        return clustered(np.stack(parts, axis=1), self.cluster, figure, level=self.level)

    def _scores(self) -> list[tuple[str, str, str, Score, int]]:
        came, weight = self.scored["came"].to_numpy(), self.scored["weight"].to_numpy()
        sizes = np.bincount(self.cut)
        tops = {
            "catch_top_5_percent": (self.cut, np.ceil(TOP_SHARE * sizes)),
            "catch_10_a_locomotive": (
                self.sheet, np.full(self.sheet.max() + 1, float(TOP_OF_A_LOCOMOTIVE))
            ),
        }  # fmt: skip
        rows: list[tuple[str, str, str, Score, int]] = []
        number = int(came.sum())
        for measure, (group, most) in tops.items():
            caught = {m: came * self._chosen(by, group, most) for m, (by, _) in METHODS.items()}
            for method in METHODS:
                score = self._bound([caught[method], came], _ratio)
                rows.append((method, "", measure, score, number))
            for other in list(METHODS)[1:]:
                score = self._bound([caught[FORECAST] - caught[other], came], _ratio)
                rows.append((FORECAST, other, measure, score, number))
        for measure, terms_of in (("brier", brier_terms), ("log_score", log_terms)):
            terms = {
                m: terms_of(self.scored[name], came, weight)
                for m, (_, name) in METHODS.items() if name
            }  # fmt: skip
            for method, each in terms.items():
                rows.append((method, "", measure, self._bound([each, weight], _ratio), number))
            for other in list(terms)[1:]:
                score = self._bound([terms[FORECAST], terms[other]], _lead)
                rows.append((FORECAST, other, measure, score, number))
        return rows

    def _chosen(self, by: str, group: IntArray, most: FloatArray) -> FloatArray:
        value = self.scored[by].to_numpy(np.float64) if by else np.zeros(len(self.scored))
        return chosen_most(value, group, most)

    def _counts(self) -> list[tuple[str, str, str, Score, int]]:
        each = self.trials.locomotives
        if each.empty:
            return []
        known = [each[name] for name in ("usual", "ratio", "ratio_sd")]
        low, high = count_bounds(*known, level=self.level, spread=each["spread"])
        found = each["found"].to_numpy(np.float64)
        cluster, _ = numbered(each["locomotive"].to_numpy(dtype=str))
        inside = ((found >= low) & (found <= high)).astype(np.float64)
        rows = []
        for measure, parts in (
            ("inside_bounds", [inside, np.ones(len(each))]),
            ("found_ratio", [found, each["expected"].to_numpy(np.float64)]),
        ):
            score = clustered(np.stack(parts, axis=1), cluster, _ratio, level=self.level)
            rows.append((FORECAST, "", measure, score, int(found.sum())))
        return rows

    def _lists(self) -> list[tuple[str, str, str, Score, int]]:
        soon = self.scored["came_soon"].to_numpy(np.float64)
        listed, waiting = (self.scored[n].to_numpy(np.float64) for n in ("listed", "open"))
        new = soon * (1.0 - waiting)
        size = np.bincount(self.sheet, listed)
        free = np.where(waiting > 0, -1.0, 1.0)  # what is open is on no list that is compared
        others = {
            name: new * chosen_most(np.where(free > 0, value, -1.0), self.sheet, size)
            for name, value in (
                ("past-count", self.scored["past"].to_numpy(np.float64)),
                ("fixed-list", self.scored["class_past"].to_numpy(np.float64)),
                (CHANCE, np.zeros(len(self.scored))),
            )
        }
        number = int(new.sum())
        caught = new * listed
        rows = [
            (LIST, "", "list_share", self._bound([caught, new], _ratio), number),
            (LIST, "", "open_share", self._bound([soon * waiting, soon], _ratio), int(soon.sum())),
        ]
        for name, each in others.items():
            rows.append((name, "", "list_share", self._bound([each, new], _ratio), number))
            rows.append((LIST, name, "list_share", self._bound([caught, each], _ratio), number))
        return rows


def _ratio(sums: FloatArray) -> FloatArray:
    found: FloatArray = sums[..., 0] / sums[..., 1]
    return found


def _lead(sums: FloatArray) -> FloatArray:
    found: FloatArray = 1.0 - sums[..., 0] / sums[..., 1]
    return found


def sum_up(table: pd.DataFrame, days: float) -> Message:
    """Say in one sentence what the scores show."""
    own = table[(table["against"] == "") & (table["measure"] == "catch_top_5_percent")]
    value = dict(zip(own["method"], own["value"], strict=True))
    return Message(
        "backtest.reading",
        cuts=int(own["cuts"].iloc[0]),
        percent=whole(100 * TOP_SHARE),
        days=whole(days),
        outcomes=int(own["outcomes"].iloc[0]),
        caught=100 * value[FORECAST],
        age=100 * value["age"],
        kind=100 * value["class-rate"],
        other=100 * value["past-count"],
        share=100 * value[CHANCE],
    )


def _calibrated(table: pd.DataFrame) -> Message:
    n = table["n"]
    inside = (table["lower"] <= table["predicted"]) & (table["predicted"] <= table["upper"])
    return Message(
        "backtest.calibrated",
        predicted=100 * float((table["predicted"] * n).sum() / n.sum()),
        observed=100 * float((table["observed"] * n).sum() / n.sum()),
        inside=int(inside.sum()),
        bins=len(table),
    )
