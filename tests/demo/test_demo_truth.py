"""What was put into the railway can be seen in it: laws, bad locomotives, weak parts, habits.

Oracle: the numbers the railway was drawn from. Tolerances are four standard errors or more of the
counts at hand.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from lifelines import LogNormalFitter, WeibullFitter

from analytics.catalogue.load import load_text
from data_demo.lifetimes import cumulative_hazard, lognormal_of
from data_demo.scenario import FILTER, MODIFICATION, NOT_HOLDING, WEAK_BATCH, Scenario
from data_demo.simulate import simulate
from data_demo.truth import truth

# with neither season, renewals to come back, modification nor few events
PLAIN = [
    ("fuel-injector", "Alder"),
    ("fuel-injector", "Rowan"),
    ("main-generator-brush", "Alder"),
    ("traction-motor-brush", "Rowan"),
    ("brake-block", "Alder"),
    ("control-relay", "Rowan"),
    ("valve-gear", "Alder"),
    ("headlight", "Rowan"),
]


def ordinary_lives(railway, component, class_name):
    lives = railway.lives
    ordinary = ~lives["locomotive"].isin(railway.truth.bad_locomotives) & ~lives["weak"]
    mine = (lives["component"] == component) & (lives["class"] == class_name)
    return lives[ordinary & mine & (lives["age_out"] > lives["age_in"])]


@pytest.mark.parametrize(("component", "class_name"), PLAIN)
def test_weibull_fit_finds_shape_and_scale_of_true_lives(railway, component, class_name):
    lives, law = ordinary_lives(railway, component, class_name), truth(component, class_name)
    fit = WeibullFitter().fit(lives["age_out"], lives["failed"], entry=lives["age_in"])
    # standard errors of complete samples, 0.78 / sqrt(n) and 1.05 / (shape sqrt(n)), with room for
    # censoring; locomotives differ by 15 %
    root = np.sqrt(lives["failed"].sum())
    assert fit.rho_ == pytest.approx(law.shape, rel=4 * 0.95 / root)
    by_chance = np.hypot(1.3 / (law.shape * root), 0.15 / np.sqrt(23))
    assert fit.lambda_ == pytest.approx(law.scale, rel=4 * by_chance)


def test_lognormal_railway_has_lognormal_lives(catalogue):
    drawn = simulate(Scenario(law="lognormal"), catalogue)
    lives = ordinary_lives(drawn, "brake-block", "Alder")
    law = truth("brake-block", "Alder")
    mu, sigma = lognormal_of(np.array([law.shape]), np.array([law.scale]))
    fit = LogNormalFitter().fit(lives["age_out"], lives["failed"], entry=lives["age_in"])
    assert fit.mu_ == pytest.approx(mu[0], abs=0.06)
    assert fit.sigma_ == pytest.approx(sigma[0], rel=0.15)


@pytest.mark.parametrize(
    "component", ["electromagnetic-contactor", "headlight", "brake-block", "wheel-scotch"]
)
def test_clock_per_defect_is_the_mtbf_of_the_law(railway, component):
    lives = railway.lives[railway.lives["component"] == component]
    findings = railway.tables["findings"]
    defects = findings[(findings["component"] == component) & findings["closed_at"].notna()]
    expected = sum(
        ((of_class["age_out"] - of_class["age_in"]) * of_class["rate"]).sum()
        / truth(component, class_name).mtbf
        for class_name, of_class in lives.groupby("class", observed=True)
    )
    # a few come back after nothing was done (2 %); locomotives on record are not long after entry
    assert len(defects) == pytest.approx(expected, rel=0.16)


def test_bad_locomotives_have_twice_the_findings_of_their_class(railway):
    counts = railway.tables["findings"]["locomotive"].value_counts()
    assert len(railway.truth.bad_locomotives) == 2
    for bad in railway.truth.bad_locomotives:
        others = counts[counts.index.str.startswith(bad[0]) & (counts.index != bad)]
        assert counts[bad] > 1.7 * others.median()
        assert counts[bad] > others.max()


def test_weak_batch_fails_as_many_times_faster_as_stated(railway):
    lives = railway.lives[railway.lives["component"] == WEAK_BATCH.component]
    weak = lives[lives["weak"]]
    expected = 0.0
    for class_name, of_class in weak.groupby("class", observed=True):
        law = truth(WEAK_BATCH.component, class_name)
        shape, scale = np.array([law.shape]), np.array([law.scale])
        hazards = [
            cumulative_hazard("weibull", of_class[name].to_numpy(), shape, scale)
            for name in ("age_out", "age_in")
        ]
        expected += float((of_class["rate"].to_numpy() * (hazards[0] - hazards[1])).sum())
    failures = int(weak["failed"].sum())
    assert failures > 40
    assert failures / expected == pytest.approx(WEAK_BATCH.factor, rel=4 / np.sqrt(failures))


def test_weak_batch_is_known_by_its_serial_prefix(railway):
    findings = railway.tables["findings"]
    injectors = findings[findings["component"] == WEAK_BATCH.component]
    fitted = injectors.dropna(subset=["serial_in"]).set_index("serial_in")["closed_at"]
    out = injectors.dropna(subset=["serial_out"]).set_index("serial_out")["found_at"]
    lived = pd.concat([fitted, out], axis=1, keys=["fitted", "out"]).dropna(subset=["fitted"])
    prefix = lived.index.str[:2]
    within_year = (lived["out"] - lived["fitted"]).dt.days < 400
    share = within_year.groupby(prefix).mean()
    assert share[WEAK_BATCH.prefix] > 2.5 * share[WEAK_BATCH.usual_prefix]
    days = (fitted - fitted.min()).dt.days[fitted.index.str.startswith(WEAK_BATCH.prefix)]
    assert days.max() - days.min() <= 0.31 * Scenario().days


def _back_within_30_days(findings: pd.DataFrame) -> pd.Series:
    """Tell for each closed finding whether the position had another within 30 days."""
    ordered = findings.sort_values(["locomotive", "found_at"])
    following = ordered.groupby("locomotive")["found_at"].shift(-1)
    is_back = following - ordered["closed_at"] < pd.Timedelta(days=30)
    return is_back[ordered["closed_at"].notna()]


def test_cleaning_does_not_hold(railway):
    findings = railway.tables["findings"].astype({"action": object})
    mine = findings[findings["component"] == NOT_HOLDING.component]
    share = _back_within_30_days(mine).groupby(mine["action"]).mean()
    assert share[NOT_HOLDING.action] == pytest.approx(NOT_HOLDING.chance, abs=0.12)
    assert share["replaced"] < 0.5 * share[NOT_HOLDING.action]


def test_earth_faults_come_back_when_nothing_was_done(railway, catalogue):
    findings = railway.tables["findings"].astype({"action": object})
    mine = findings[findings["component"] == "earth-fault-relay"]
    effect = mine["action"].map({name: a.effect for name, a in catalogue.actions.items()})
    share = _back_within_30_days(mine).groupby(effect).mean()
    assert share["checked"] > 0.4
    assert share["restore"] < 0.25


def test_modification_lowers_the_rate_of_its_component(railway):
    findings = railway.tables["findings"]
    mine = findings[findings["component"] == MODIFICATION.component]
    done = railway.tables["modifications"].set_index("locomotive")["done_at"]
    mine = mine[mine["locomotive"].isin(done.index)]
    after = mine["found_at"] > mine["locomotive"].map(done)
    inspections = railway.tables["inspections"]
    inspections = inspections[inspections["locomotive"].isin(done.index)]
    days_after = (inspections["inspected_at"] > inspections["locomotive"].map(done)).sum()
    before_rate = (~after).sum() / (len(inspections) - days_after)
    assert after.sum() / days_after / before_rate == pytest.approx(MODIFICATION.factor, abs=0.2)


@pytest.mark.parametrize(
    ("component", "many", "few"),
    [("shutter-linkage", (12, 1, 2), (6, 7, 8)), ("cooling-fan", (6, 7, 8), (12, 1, 2))],
)
def test_seasons_show(railway, component, many, few):
    findings = railway.tables["findings"]
    month = findings["found_at"].dt.month[findings["component"] == component]
    assert month.isin(many).sum() > 2.5 * month.isin(few).sum()


def test_feed_pressure_rises_until_the_filter_is_washed(railway):
    readings = railway.tables["readings"]
    pressure = readings[readings["parameter"] == FILTER.parameter]
    findings, work = railway.tables["findings"], railway.tables["work"]
    full = findings[
        (findings["component"] == FILTER.component) & (findings["defect"] == FILTER.defect)
    ]
    at_limit = pressure.merge(
        full[["locomotive", "found_at"]],
        left_on=["locomotive", "read_at"],
        right_on=["locomotive", "found_at"],
    )
    assert len(at_limit) > 100
    assert (at_limit["value"] > FILTER.limit - 0.06).all()
    washed = work[work["action"] == FILTER.action][["locomotive", "done_at"]]
    after = pd.merge_asof(
        pressure.sort_values("read_at"),
        washed.sort_values("done_at"),
        left_on="read_at",
        right_on="done_at",
        by="locomotive",
        tolerance=pd.Timedelta(days=3),
    ).dropna(subset=["done_at"])
    assert after["value"].mean() == pytest.approx(FILTER.clean, abs=0.03)


def test_brushes_get_shorter_until_they_are_replaced(railway):
    readings = railway.tables["readings"]
    length = readings[readings["parameter"] == "traction-motor-brush-length"]
    step = length.sort_values(["locomotive", "read_at"]).groupby("locomotive")["value"].diff()
    assert (step < 0).mean() > 0.7
    assert (step > 2).sum() > 100  # new brushes


def test_renewals_by_plan_are_made_at_workshop_visits(railway):
    work, inspections = railway.tables["work"], railway.tables["inspections"]
    visits = inspections[inspections["kind"] == "workshop"]
    days = pd.MultiIndex.from_arrays([visits["locomotive"], visits["inspected_at"].dt.date])
    done = pd.MultiIndex.from_arrays([work["locomotive"], work["done_at"].dt.date])
    assert done.isin(days).all()
    assert set(work["action"].astype(str)) >= {"replaced", "oil-changed", FILTER.action}


def test_any_catalogue_gets_a_law_for_every_component():
    own = load_text(
        {
            "own.toml": """
            [class.Alder]
            [class.Rowan.positions]
            lamp = 3
            [component.lamp]
            system = "lights"
            clock = "days"
            defects = ["out"]
            [component.wheel]
            system = "running gear"
            clock = "km"
            defects = ["flat"]
            [component.fuel-injector]
            system = "engine"
            clock = "days"
            defects = ["leaking"]
            [action.changed]
            effect = "renew"
            [action.mended]
            effect = "restore"
            [action.looked-at]
            effect = "checked"
            [action.left]
            effect = "defer"
            [parameter.oil]
            unit = "bar"
            """
        }
    )
    drawn = simulate(Scenario(locomotives=6, years=4), own)
    assert set(drawn.tables["findings"]["component"].astype(str)) == set(own.components)
    assert truth("fuel-injector", "Alder", own).clock == "days"
    assert drawn.tables["readings"].empty
