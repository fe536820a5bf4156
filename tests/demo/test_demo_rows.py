"""No row of the drawn railway is impossible; what is left blank stays within bounds."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analytics.catalogue.model import INSPECTION_KINDS, RUNNING_STATES
from data_demo.scenario import AFTER_LAST_DAY, CLASSES, DEPOTS, Scenario
from data_demo.simulate import TABLES, simulate

# INPUTS: the columns of the eight tables
COLUMNS = {
    "locomotives": "locomotive class depot in_service_from in_service_to records_from "
    "engine_hours_at_start km_at_start",
    "usage": "locomotive read_at engine_hours km",
    "inspections": "locomotive inspected_at kind depot engine_hours km outcome signed",
    "findings": "locomotive found_at component position defect severity action closed_at "
    "down_hours labour_hours cost finding_id quantity serial_out serial_in age_in condition_in "
    "team note",
    "work": "locomotive done_at component position action labour_hours cost work_id serial_out "
    "serial_in age_in condition_in note",
    "out_of_use": "locomotive from to reason",
    "modifications": "locomotive done_at name",
    "readings": "locomotive read_at parameter value unit running_state",
}
INSTANT = {
    "usage": "read_at",
    "inspections": "inspected_at",
    "findings": "found_at",
    "work": "done_at",
    "out_of_use": "from",
    "modifications": "done_at",
    "readings": "read_at",
}
# share of rows, least and most (declared here; a depot's own habits are in the scenario)
BLANKS = {
    "severity": (0.02, 0.08),
    "action": (0.01, 0.05),
    "closed_at": (0.005, 0.08),
    "finding_id": (0.1, 0.4),
}


@pytest.mark.parametrize("name", TABLES)
def test_table_has_the_columns_of_inputs_and_rows(railway, name):
    assert list(railway.tables[name].columns) == COLUMNS[name].split()
    assert len(railway.tables[name]) > 0


def test_volumes_are_those_of_a_real_fleet(railway):
    sizes = {name: len(table) for name, table in railway.tables.items()}
    assert sizes["locomotives"] == 48
    assert 75_000 < sizes["inspections"] < 90_000
    assert 25_000 < sizes["findings"] < 45_000
    assert sizes["readings"] < 200_000
    assert sizes["work"] > 500


@pytest.mark.parametrize("name", INSTANT)
def test_nothing_happens_outside_the_record_of_its_locomotive(railway, name):
    table, column = railway.tables[name], INSTANT[name]
    joined = table.merge(railway.tables["locomotives"], on="locomotive", suffixes=("", "_register"))
    assert len(joined) == len(table)
    ends = joined["in_service_to"].fillna(pd.Timestamp(AFTER_LAST_DAY))
    assert (joined[column] >= joined["records_from"]).all()
    assert (joined[column] >= joined["in_service_from"]).all()
    assert (joined[column] < ends).all()


def test_closings_follow_findings_within_the_record(railway):
    findings = railway.tables["findings"].merge(railway.tables["locomotives"], on="locomotive")
    closed = findings[findings["closed_at"].notna()]
    ends = closed["in_service_to"].fillna(pd.Timestamp(AFTER_LAST_DAY))
    assert (closed["closed_at"] > closed["found_at"]).all()
    assert (closed["closed_at"] < ends).all()


def test_findings_name_what_the_catalogue_knows(railway, catalogue):
    findings = railway.tables["findings"].astype(
        {"component": str, "defect": str, "action": object}
    )
    for component, defects in findings.groupby("component")["defect"]:
        assert set(defects) <= set(catalogue.components[component].defects)
    assert set(findings["action"].dropna()) <= set(catalogue.actions)
    assert set(findings["severity"].dropna()) <= {"remark", "rectify", "withhold", "in-service"}
    assert set(railway.tables["work"]["action"].astype(str)) <= set(catalogue.actions)


def test_every_component_gets_findings(railway, catalogue):
    assert set(railway.tables["findings"]["component"].astype(str)) == set(catalogue.components)


@pytest.mark.parametrize("name", ["findings", "work"])
def test_positions_are_those_of_the_class(railway, catalogue, name):
    rows = railway.tables[name].merge(railway.tables["locomotives"], on="locomotive")
    rows = rows.astype({"class": str, "component": str})
    for (class_name, component), positions in rows.groupby(["class", "component"])["position"]:
        assert positions.dropna().between(1, catalogue.positions(class_name, component)).all()


def test_counters_only_go_backwards_where_one_was_replaced(railway, catalogue):
    readings = pd.concat(
        [
            railway.tables["inspections"].rename(columns={"inspected_at": "read_at"}),
            railway.tables["usage"],
        ]
    ).sort_values(["locomotive", "read_at"])
    limits = {"engine_hours": 24, "km": 1500}
    for column, most_a_day in limits.items():
        read = readings.dropna(subset=[column])
        step = read.groupby("locomotive")[column].diff()
        days = read.groupby("locomotive")["read_at"].diff().dt.total_seconds() / 86_400
        assert (step < 0).sum() <= 10
        assert (step > most_a_day * days + 1).sum() == 0
        # a new counter starts near zero
        assert (read[column][step < 0] < most_a_day * (days[step < 0] + 1)).all()
    assert set(catalogue.classes) >= set(CLASSES)


def test_nothing_is_found_or_inspected_while_a_locomotive_stands(railway):
    stretches = railway.tables["out_of_use"]
    ends = stretches["to"].fillna(pd.Timestamp(AFTER_LAST_DAY))
    assert (ends > stretches["from"]).all()
    for name, column in (("inspections", "inspected_at"), ("findings", "found_at")):
        table = railway.tables[name]
        for locomotive, start, end in zip(
            stretches["locomotive"], stretches["from"], ends, strict=True
        ):
            mine = table[table["locomotive"] == locomotive][column]
            assert not mine.between(start, end, inclusive="neither").any()


def test_findings_are_made_at_inspections_unless_in_service(railway):
    findings, inspections = railway.tables["findings"], railway.tables["inspections"]
    at = pd.MultiIndex.from_frame(inspections[["locomotive", "inspected_at"]])
    found = pd.MultiIndex.from_frame(findings[["locomotive", "found_at"]])
    at_inspection = found.isin(at)
    severity = findings["severity"].astype(object)
    assert at_inspection[(severity.notna() & (severity != "in-service")).to_numpy()].all()
    assert not at_inspection[(severity == "in-service").to_numpy()].all()


def test_inspections_are_mostly_clear_and_at_times_of_day(railway):
    inspections = railway.tables["inspections"]
    findings = pd.MultiIndex.from_frame(railway.tables["findings"][["locomotive", "found_at"]])
    at = pd.MultiIndex.from_frame(inspections[["locomotive", "inspected_at"]])
    assert 0.6 < 1 - at.isin(findings).mean() < 0.9
    assert set(inspections["kind"].astype(str)) == set(INSPECTION_KINDS)
    assert inspections["inspected_at"].dt.hour.nunique() > 12
    assert not inspections.duplicated(["locomotive", "inspected_at", "kind"]).any()


def test_ids_and_serials_come_once(railway):
    findings, work = railway.tables["findings"], railway.tables["work"]
    for ids in (findings["finding_id"].dropna(), work["work_id"]):
        assert ids.is_unique
    for column in ("serial_in", "serial_out"):
        assert pd.concat([findings[column], work[column]]).dropna().is_unique


def test_safety_components_are_never_deferred(railway, catalogue):
    findings = railway.tables["findings"].merge(railway.tables["locomotives"], on="locomotive")
    effect = (
        findings["action"]
        .astype(object)
        .map({name: action.effect for name, action in catalogue.actions.items()})
    )
    ends = findings["in_service_to"].fillna(pd.Timestamp(AFTER_LAST_DAY))
    in_time = findings["found_at"] < ends - pd.Timedelta(days=12)  # work not finished stays open
    deferred = findings[(effect == "defer") & in_time]["component"].astype(str)
    assert not deferred.map(lambda name: catalogue.components[name].safety).any()


@pytest.mark.parametrize("column", BLANKS)
def test_blanks_stay_within_declared_bounds(railway, column):
    least, most = BLANKS[column]
    assert least < railway.tables["findings"][column].isna().mean() < most


def _share_without_position(railway, catalogue) -> float:
    rows = railway.tables["findings"].merge(railway.tables["locomotives"], on="locomotive")
    count = [
        catalogue.positions(class_name, component)
        for class_name, component in zip(rows["class"], rows["component"], strict=True)
    ]
    return float(rows["position"].isna()[np.array(count) > 1].mean())


def test_position_is_seldom_forgotten(railway, catalogue):
    assert 0.003 < _share_without_position(railway, catalogue) < 0.03


def test_position_is_forgotten_as_often_as_asked(catalogue):
    asked = simulate(Scenario(locomotives=12, years=2, blank_position=0.2), catalogue)
    assert _share_without_position(asked, catalogue) == pytest.approx(0.2, abs=0.02)


def test_readings_are_physically_possible_and_in_the_unit_of_the_catalogue(railway, catalogue):
    readings = railway.tables["readings"].astype({"parameter": str, "unit": str})
    for name, rows in readings.groupby("parameter"):
        parameter = catalogue.parameters[name]
        assert set(rows["unit"]) == {parameter.unit}
        assert rows["value"].between(parameter.physical_min, parameter.physical_max).all()
    assert set(readings["running_state"]) <= set(RUNNING_STATES)
    assert not readings.duplicated(["locomotive", "parameter", "running_state", "read_at"]).any()


def test_some_records_begin_at_entry_into_service_and_others_years_after(railway):
    register = railway.tables["locomotives"]
    is_new = register["records_from"] == register["in_service_from"]
    years = (register["records_from"] - register["in_service_from"]).dt.days / 365.25
    assert 6 <= is_new.sum() <= 24
    assert years[~is_new].between(5.9, 12.1).all()
    assert register[["engine_hours_at_start", "km_at_start"]].notna().all().all()
    assert set(register["depot"].astype(str)) == {depot.name for depot in DEPOTS}
