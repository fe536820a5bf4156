"""How many parts will be needed in a lead time, and how many to keep for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from analytics.answer import Answer, Message, say
from analytics.answers.basis import make_basis
from analytics.answers.clocks import whole
from analytics.answers.ground import Ground, lay_ground
from analytics.answers.look_back import read_days
from analytics.answers.outlook import LONGEST_DAYS, look_ahead
from analytics.answers.weibull_lives import KIND, weibull_lives
from analytics.errors import ScopeError
from analytics.estimate.forecast import FEWEST_EVENTS, dispersion
from analytics.estimate.rate import FloatArray
from analytics.estimate.renewal import expected_renewals
from analytics.estimate.stock import demand_bounds, stock_level
from analytics.scope import Scope
from analytics.store import Reader

COLUMNS = (
    "component", "positions", "failures", "expected", "lower", "upper", "seen", "spread", "stock",
    "stock_upper", "service", "note",
)  # fmt: skip


def spares(
    reader: Reader, scope: Scope, *, lead_time: str = "60d", service: float = 0.95
) -> Answer:
    """Forecast the renewals of a lead time by component, and the stock for a service level.

    Parameters
    ----------
    reader
        A cursor on a snapshot.
    scope
        What is asked; filters choose the locomotives and components that are counted.
    lead_time
        From order to arrival, `60d` or `8w`.
    service
        Chance that the stock is enough for the lead time.

    Returns
    -------
    Answer
        A row per component, most needed first: positions in service; failures that the lives were
        learned from; renewals `expected` of the fleet as it is now, with bounds at the scope's
        level; `seen`: the mean of past stretches of the same length, and their `spread` (variance
        over mean); the stock for what is expected, and for its upper bound.

    Conventions
    -----------
    METHODS section 9. Weibull lives of the class and component; a part of known age goes on from it
    (`analytics.estimate.renewal`), one of unknown age has the long-run rate, 1 / mean life. Lives
    end with a failure closed by a renewal: what is renewed by plan comes on top and is for the
    planner to add. Demand is Poisson, negative binomial where past stretches were bunched.

    Limits
    ------
    Fewer than 5 failures of a component: nothing is told. Positions without a law (fewer than 3
    failures of their class) or a use are left out of the sum, and the note says how many.

    Raises
    ------
    ScopeError
        For an unknown name, a lead time above a year, a service level outside (0, 1).
    """
    days = read_days(lead_time, "a lead time", most=LONGEST_DAYS)
    if not 0 < service < 1:
        raise ScopeError(f"a service level lies between 0 and 1, such as 0.95, not at {service!r}.")
    # Filters on locomotives choose what is counted; a life's law is that of all of its class.
    lives = weibull_lives(reader, replace(scope, locomotives=(), depots=()), level=scope.level)
    outlook = look_ahead(reader, scope, days)
    places = outlook.frame.merge(
        lives[[*KIND, "shape", "scale", "mean", "failures"]], how="left", on=KIND
    )
    places["renewals"] = _expected(places)
    ground = lay_ground(reader, scope)
    table = _by_component(places, ground, days)
    lower, upper = demand_bounds(table["expected"], table["failures"], level=scope.level)
    few = (table["failures"] < FEWEST_EVENTS).to_numpy() | table["expected"].isna().to_numpy()
    table = table.assign(lower=lower, upper=upper, service=service)
    for name, mean in (("stock", table["expected"]), ("stock_upper", table["upper"])):
        told = stock_level(np.where(few, 0.0, mean), service=service, spread=table["spread"])
        table[name] = pd.Series(told, index=table.index).astype("Int64").mask(few)
    table.loc[few, ["expected", "lower", "upper"]] = np.nan
    table["note"] = [_note(*each) for each in zip(few, table["untold"], strict=True)]
    table = table.sort_values(
        ["expected", "component"], ascending=[False, True], na_position="last", ignore_index=True
    )
    basis = make_basis(
        ground, f"renewals in {whole(days)} days: Weibull lives from the ages now; Poisson or"
        " negative binomial stock", events=int(table["failures"].sum()),
    )  # fmt: skip
    reading = _reading(table, days, service)
    return Answer("spares", table[list(COLUMNS)], basis, reading, (Message("spares.on_top"),))


def _expected(places: pd.DataFrame) -> FloatArray:
    """Return the renewals to expect of each position; NaN where its kind has no law."""
    found = np.full(len(places), np.nan)
    use = places["use"].to_numpy(np.float64)
    aged = (places["start_known"].eq(True) & places["age"].notna()).to_numpy() & np.isfinite(use)
    for group in places.groupby(KIND, sort=False).indices.values():
        rows = np.asarray(group, dtype=np.int64)
        shape, scale, mean = (float(places[n].iloc[rows[0]]) for n in ("shape", "scale", "mean"))
        if not np.isfinite(scale):
            continue
        known = rows[aged[rows]]
        found[rows] = use[rows] / mean

        def cdf(age: FloatArray, k: float = shape, c: float = scale) -> FloatArray:
            ended: FloatArray = -np.expm1(-((age / c) ** k))
            return ended

        found[known] = expected_renewals(cdf, places["age"].to_numpy(np.float64)[known], use[known])
    return found


def _note(few: bool, untold: int) -> str:
    if few:
        return say(Message("spares.few", fewest=FEWEST_EVENTS))
    return say(Message("spares.untold", positions=untold)) if untold else ""


def _by_component(places: pd.DataFrame, ground: Ground, days: float) -> pd.DataFrame:
    groups = places.groupby("component", sort=True)
    kinds = places.drop_duplicates(KIND).groupby("component")["failures"].sum()
    table = pd.DataFrame(
        {"positions": groups.size(), "expected": groups["renewals"].sum(min_count=1)}
    )
    table["untold"] = groups["renewals"].apply(lambda each: int(each.isna().sum()))
    table["failures"] = kinds.reindex(table.index).fillna(0).astype(int)
    past = _past(ground, days).reindex(table.index)
    table["seen"], table["spread"] = past["seen"], past["spread"].fillna(1.0)
    return table.reset_index()


def _past(ground: Ground, days: float) -> pd.DataFrame:
    """Return the mean and the spread of past renewals for failure over stretches of the length."""
    ends = ground.data_cut
    rows = ground.rows(
        "SELECT component, closed_at FROM"
        f" {ground.sources['episode']} SEMI JOIN asked_record USING (locomotive)"
        f" WHERE {ground.counted} AND effect = 'renew' AND closed_at <= $until",
        until=ground.until,
    )
    begun = ground.rows("SELECT min(begins_at) AS begun FROM asked_record")["begun"].iloc[0]
    if rows.empty or ends is None or pd.isna(begun):
        return pd.DataFrame({"seen": [], "spread": []}, dtype="float64")
    number = int((ends - begun) / pd.Timedelta(days=days))
    if number < 1:
        return pd.DataFrame({"seen": [], "spread": []}, dtype="float64")
    ago = (pd.Timestamp(ends) - rows["closed_at"]).dt.total_seconds().to_numpy() / 86_400
    stretch = np.floor(ago / days).astype(np.int64)
    inside = (stretch >= 0) & (stretch < number)
    part, names = pd.factorize(rows["component"][inside], sort=True)
    counts = np.zeros((len(names), number))
    np.add.at(counts, (part, stretch[inside]), 1.0)
    spread = [dispersion(each, np.zeros(number)) for each in counts]
    return pd.DataFrame({"seen": counts.mean(axis=1), "spread": spread}, index=names)


def _reading(table: pd.DataFrame, days: float, service: float) -> Message:
    told = table[table["expected"].notna()]
    if told.empty:
        return Message("spares.nothing", fewest=FEWEST_EVENTS)
    first = told.iloc[0]
    return Message(
        "spares.most",
        component=str(first["component"]),
        days=whole(days),
        expected=float(first["expected"]),
        lower=float(first["lower"]),
        upper=float(first["upper"]),
        stock=int(first["stock"]),
        percent=100 * service,
        components=len(told),
    )
