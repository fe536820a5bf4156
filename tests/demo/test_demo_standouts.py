"""Standouts against the known truth of the demo railway, handed in like a depot would.

Oracle: `data_demo` truth, which the answers never see.
"""

from __future__ import annotations

import pytest

from analytics.answers import ask_reader
from analytics.scope import Scope
from data_demo.build import build
from data_demo.scenario import WEAK_BATCH

pytestmark = pytest.mark.campaign  # the whole demo is handed in: half a minute


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    return build(tmp_path_factory.mktemp("standouts") / "shedbook-demo")


def standing_out(store, *by, **asked):
    with store.read() as reader:
        found = ask_reader(reader, "standouts", Scope.of(**asked), by=by)
    return found.table[found.table["stands_out"]]


@pytest.fixture(scope="module")
def factors(railway):
    """True rate of each locomotive over the mean of its class."""
    lives = railway.lives.drop_duplicates("locomotive").set_index("locomotive")
    rates = lives["rate"].astype(float)
    return rates / rates.groupby(lives["class"].astype(str)).transform("mean")


def test_the_bad_locomotives_stand_out_and_no_others(store, railway, factors):
    named = set(standing_out(store)["locomotive"])
    assert named == set(railway.truth.bad_locomotives)
    assert all(factors[name] > 1.25 for name in named)


def test_by_component_only_bad_locomotives_stand_out(store, railway):
    named = standing_out(store, "locomotive", "component")
    assert len(named) >= 4
    right = named["locomotive"].isin(railway.truth.bad_locomotives)
    assert right.mean() >= 0.9  # the false discovery rate asked for


def test_the_weak_batch_stands_out_by_the_letters_of_its_serials(store):
    named = standing_out(store, "series")
    assert named["series"].tolist() == [WEAK_BATCH.prefix]
    assert named["component"].tolist() == [WEAK_BATCH.component]
    assert named["shrunk_lower"].iloc[0] > 1.25


def test_no_depot_stands_out(store):
    # depots differ in hours run and in what they write, not in the truth of the defects
    assert standing_out(store, "depot").empty
