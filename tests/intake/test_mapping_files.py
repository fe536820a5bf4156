"""Mapping files: headings, values, constants, units, and what is said of a wrong one.

Expected outcomes are hand-written.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import duckdb
import pytest

from analytics.catalogue.load import load_text
from analytics.errors import InputError
from analytics.intake.mapping import NO_MAPPING, fold, load_mapping, parse_mapping
from analytics.intake.publish import Delivery, publish_facts
from analytics.store.current import current_sql
from tests.intake.depot import CATALOGUE, NOW, REGISTER, counts, open_facts, publish, write_files

HUNGARIAN = """
[findings]
[findings.columns]
locomotive = "Mozdony"
found_at = "Dátum"
component = "Alkatrész"
defect = "Hiba kódja"
note = "Megjegyzés"
down_hours = "Állásidő (perc)"
[findings.values.component]
"befecskendező" = "fuel-injector"
"AKKU" = "battery"
[findings.values.defect]
"csöpög" = "leaking"
"lemerült" = "discharged"
"nincs" = ""
[findings.default]
action = "adjusted"
closed_at = "found_at"
[findings.units]
down_hours = "min"
"""
SHEET = """MOZDONY, datum,Alkatresz,Hiba  kodja,Megjegyzés,Állásidő (perc),Szín
A1,2024-05-01 06:30,Befecskendezo,CSÖPÖG,x,90,piros
B1,2024-05-02,akku,lemerült,,,
A1,2024-05-03,battery,discharged,,15,
"""


def deliver(
    folder: Path, files: dict[str, str], mapping: str, register: str | None = REGISTER
) -> tuple[duckdb.DuckDBPyConnection, Delivery]:
    connection = open_facts()
    if register:
        publish(connection, folder, {"register.csv": register})
    return connection, hand_in(connection, folder, files, mapping)


def hand_in(
    connection: duckdb.DuckDBPyConnection, folder: Path, files: dict[str, str], mapping: str
) -> Delivery:
    return publish_facts(
        connection,
        write_files(folder, files),
        load_text({"depot.toml": CATALOGUE}, check_units=False),
        current=current_sql,
        now=NOW,
        mapping=parse_mapping(mapping, "m.toml"),
    )


def rows(
    connection: duckdb.DuckDBPyConnection, table: str, columns: str
) -> list[tuple[object, ...]]:
    return connection.execute(
        f"SELECT {columns} FROM ({current_sql(table)}) ORDER BY ALL"
    ).fetchall()


def test_headings_values_constants_and_units_become_ours(tmp_path: Path) -> None:
    connection, delivery = deliver(tmp_path, {"x.csv": SHEET}, HUNGARIAN)
    assert counts(delivery) == [(3, 0, 0, 0)]
    assert delivery.files[0].notes == ("columns not read: 'Szín'",)
    found = rows(
        connection,
        "findings",
        "found_at::VARCHAR, locomotive, component, defect, action, closed_at::VARCHAR, "
        "closed_timed, down_hours",
    )
    timed = "2024-05-01 06:30:00"
    dates = ("2024-05-02 00:00:00", "2024-05-03 00:00:00")
    assert found == [
        (timed, "A1", "fuel-injector", "leaking", "adjusted", timed, True, 1.5),
        (dates[0], "B1", "battery", "discharged", "adjusted", dates[0], False, None),
        (dates[1], "A1", "battery", "discharged", "adjusted", dates[1], False, 0.25),
    ]


def test_value_that_is_mapped_to_nothing_is_an_empty_cell(tmp_path: Path) -> None:
    text = SHEET.splitlines()[0] + "\nA1,2024-05-01,akku,nincs,,,\n"
    _, delivery = deliver(tmp_path, {"x.csv": text}, HUNGARIAN)
    assert counts(delivery) == [(0, 0, 0, 1)]
    assert delivery.set_aside["reason"][0].startswith("defect is empty")


def test_row_set_aside_is_kept_in_the_files_own_headings(tmp_path: Path) -> None:
    text = SHEET.splitlines()[0] + "\nA1,2024-05-01,kerék,csöpög,,,\n"
    connection, delivery = deliver(tmp_path, {"x.csv": text}, HUNGARIAN)
    assert '"Alkatresz":"kerék"' in delivery.set_aside["received"][0]
    kept = connection.execute("SELECT headings, mapping FROM batch_file WHERE batch = 2").fetchall()
    assert kept[0][0].startswith('["MOZDONY"')
    assert kept[0][1] == HUNGARIAN


def test_the_same_bytes_by_another_mapping_are_not_the_same_rows(tmp_path: Path) -> None:
    text = SHEET.splitlines()[0] + "\nA1,2024-05-01,kerék,csöpög,,,\n"
    connection, _ = deliver(tmp_path, {"x.csv": text}, HUNGARIAN)
    again = hand_in(connection, tmp_path, {"x.csv": text}, HUNGARIAN)
    assert counts(again) == [(0, 0, 1, 0)]
    mended = HUNGARIAN.replace('"AKKU"', '"kerék" = "fuel-injector"\n"AKKU"')
    assert counts(hand_in(connection, tmp_path, {"x.csv": text}, mended)) == [(1, 0, 0, 0)]


def test_file_with_our_own_headings_needs_no_section(tmp_path: Path) -> None:
    files = {"x.csv": SHEET, "u.csv": "locomotive,read_at,km\nA1,2024-05-01,5\n"}
    _, delivery = deliver(tmp_path, files, HUNGARIAN)
    assert [file.table for file in delivery.files] == ["findings", "usage"]


def test_file_pattern_says_which_files_a_section_is_for(tmp_path: Path) -> None:
    mapping = (
        '[usage]\nfile = "Órák*.csv"\n[usage.columns]\nlocomotive = "a"\nread_at = "b"\n'
        '[inspections]\nfile = "v?zsga.csv"\n[inspections.columns]\nlocomotive = "a"\n'
        'inspected_at = "b"\n'
    )
    cells = "a,b\nA1,2024-05-01\n"
    _, delivery = deliver(tmp_path, {"orak-1.csv": cells, "vizsga.csv": cells}, mapping)
    assert [file.table for file in delivery.files] == ["usage", "inspections"]


def test_one_heading_may_be_two_columns_of_ours(tmp_path: Path) -> None:
    mapping = '[out_of_use.columns]\nfrom = "day"\nto = "day"\nlocomotive = "loco"\n'
    connection, _ = deliver(tmp_path, {"o.csv": "loco,day\nA1,2024-05-01\n"}, mapping)
    assert rows(connection, "out_of_use", "from_at = to_at") == [(True,)]


REGISTERED = """
[usage.columns]
locomotive = "vehicle"
read_at = "ts"
[locomotives]
from = "usage"
[locomotives.columns]
class = "kind"
[locomotives.values.class]
old = "Birch"
[locomotives.default]
class = "Alder"
records_from = 2020-01-01
"""


def test_register_is_made_from_the_vehicles_of_a_file(tmp_path: Path) -> None:
    text = "vehicle,ts,kind\nC1,2024-05-01,\nC2,2024-05-01,Old\nC1,2024-05-02,\n,2024-05-03,\n"
    connection, delivery = deliver(tmp_path, {"u.csv": text}, REGISTERED, register=None)
    assert [(f.table, f.rows) for f in delivery.files] == [("usage", 4), ("locomotives", 2)]
    assert counts(delivery) == [(3, 0, 0, 1), (2, 0, 0, 0)]
    assert delivery.files[0].notes == ()
    assert rows(connection, "locomotives", "locomotive, class, records_from::DATE::VARCHAR") == [
        ("C1", "Alder", "2020-01-01"),
        ("C2", "Birch", "2020-01-01"),
    ]
    again = hand_in(connection, tmp_path, {"u.csv": text}, REGISTERED)
    assert (counts(again), again.is_new) == ([(0, 0, 4, 0), (0, 0, 2, 0)], False)


def test_row_set_aside_of_a_made_register_is_the_row_it_was_made_from(tmp_path: Path) -> None:
    text = "vehicle,ts,kind\nC1,2024-05-01,\nC2,2024-05-01,Oak\n"
    _, delivery = deliver(tmp_path, {"u.csv": text}, REGISTERED, register=None)
    assert delivery.set_aside["table"].tolist() == ["usage", "locomotives"]
    row = '{"vehicle":"C2","ts":"2024-05-01","kind":"Oak"}'
    assert delivery.set_aside["received"].tolist() == [row, row]


def test_covered_until_of_the_mapping_holds_for_the_call(tmp_path: Path) -> None:
    connection, _ = deliver(tmp_path, {"x.csv": SHEET}, "covered_until = 2024-06-01\n" + HUNGARIAN)
    assert connection.execute("SELECT DISTINCT covered_until FROM coverage").fetchall() == [
        (datetime(2024, 6, 1),)
    ]
    assert NO_MAPPING.covering(None).covered_until is None


def test_forms_of_dates_and_numbers_are_taken_from_the_mapping(tmp_path: Path) -> None:
    mapping = (
        '[usage]\ndate_format = "month-first"\ndecimal = ","\n[usage.columns]\nread_at = "Day"\n'
    )
    text = "locomotive;Day;engine_hours\nA1;3/4/2024;12,500\nA1;3/5/2024;13,500\n"
    connection, _ = deliver(tmp_path, {"u.csv": text}, mapping)
    assert rows(connection, "usage", "read_at::DATE::VARCHAR, engine_hours") == [
        ("2024-03-04", 12.5),
        ("2024-03-05", 13.5),
    ]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[findings\n", "m.toml, line 1: a table heading must end in ']'"),
        ("[finding]\n", "top level: key 'finding' is not known; nearest: findings"),
        ("[findings]\ncolums = {}\n", "findings: key 'colums' is not known; nearest: columns"),
        ('[findings.columns]\nfund_at = "x"\n', "columns: heading 'fund_at' is not known; nearest"),
        ("[findings.columns]\nfound_at = []\n", "findings.columns: found_at must be a text"),
        ('[findings.columns]\nfound_at = " "\n', "found_at needs a heading of the file, but is ''"),
        ('[findings.default]\nnote = "note"\n', "note cannot be filled from itself"),
        ('[findings.values.defect]\nA = "x"\n"á" = "y"\n', "'á' stands twice, case and accents"),
        (
            '[findings.units]\ndown_hours = "bar"\n',
            "units: down_hours: unit 'bar' cannot be turned",
        ),
        ('[findings.units]\nnote = "h"\n', "units: note has no unit; those that have: down_hours"),
        ('[locomotives]\nfrom = "x"\n', "from must be one of usage, inspections, findings"),
        ('date_format = "DD.MM"\n', "date_format must be one of day-first, month-first, iso"),
        ('decimal = ";"\n', "decimal must be ',' or '.', but is ';'"),
        ('covered_until = "soon"\n', "covered_until must be a date such as 2026-05-31"),
        ("covered_until = 5\n", "covered_until must be a date such as 2026-05-31, but is 5"),
    ],
)
def test_mapping_that_cannot_be_meant_is_refused(text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_mapping(text, "m.toml")
    assert words in str(caught.value)
    assert "m.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        (
            HUNGARIAN.replace("Dátum", "Nap"),
            "x.csv: [findings.columns] of m.toml says found_at = 'Nap', but the file has no such",
        ),
        (
            HUNGARIAN.replace('defect = "Hiba kódja"\n', ""),
            "x.csv: [findings] of m.toml says no heading for defect, which findings needs.",
        ),
        (
            HUNGARIAN.replace('"leaking"', '"leakin"'),
            "findings.values.defect: \"csöpög\": defect 'leakin' is not known; nearest: leaking",
        ),
        (
            HUNGARIAN.replace('"adjusted"', '"adjustd"'),
            "findings.default: action 'adjustd' is not known; nearest: adjusted (m.toml)",
        ),
        (
            '[combined.columns]\nfeed-presure = "x"\n',
            "combined: column 'feed-presure' is not known; nearest: feed-pressure (m.toml)",
        ),
        (
            '[usage.columns]\nlocomotive = "Mozdony"\nread_at = "Dátum"\n'
            '[inspections.columns]\nlocomotive = "Mozdony"\ninspected_at = "Dátum"\n',
            "x.csv: [usage] and [inspections] of m.toml fit it alike; say which one with file",
        ),
        (
            HUNGARIAN + '[locomotives]\nfrom = "findings"\n',
            "x.csv: [locomotives] of the mapping says no class",
        ),
    ],
)
def test_mapping_that_does_not_fit_is_refused(tmp_path: Path, mapping: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        deliver(tmp_path, {"x.csv": SHEET}, mapping)
    assert words in str(caught.value)


def test_mapping_file_is_read_with_a_byte_order_mark(tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_bytes(b"\xef\xbb\xbf" + HUNGARIAN.encode())
    assert load_mapping(path).tables[0].columns["found_at"] == "Dátum"
    path.write_bytes(b"a = 1\n\xff")
    with pytest.raises(InputError, match="m.toml, line 2: this is not UTF-8 text"):
        load_mapping(path)
    with pytest.raises(InputError, match="cannot be read"):
        load_mapping(tmp_path / "none.toml")


def test_folding_leaves_letters_and_signs() -> None:
    assert fold("  Hiba\u00a0 Kódja (h) ") == "hibakodja(h)"
