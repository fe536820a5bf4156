"""The same table in every format: written, read back, equal.

Oracle: identity.
"""

from __future__ import annotations

import io
import json
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

from analytics.answer import Answer, Basis, Message
from analytics.exports import write_answer

SIGNED = ["=1+1", "+2", "-3", "@me", "plain", None]


@pytest.fixture(scope="module")
def answer() -> Answer:
    table = pd.DataFrame(
        {
            "component": SIGNED,
            "failures": [0, 1, 2, 3, 4, 5],
            "mtbf": [1 / 3, np.nan, -2.5, 1e-9, 123456789.123, 0.1 + 0.2],
            "position": pd.array([1, 2, None, 4, 5, 6], dtype="Int64"),
            "last": [
                pd.Timestamp("2024-05-31 06:30:00.250"),
                pd.NaT,
                *[pd.Timestamp("2024-01-01")] * 4,
            ],
            "open": [True, False, True, False, True, False],
        }
    )
    basis = Basis(
        counting="rectified",
        clock="hours",
        level=0.9,
        method="exact-poisson",
        since=datetime(2024, 1, 1),
        filters={"components": ("injector", "filter")},
        left_out={"no_clock": 3},
    )
    return Answer("mtbf", table, basis, Message("mtbf.nothing"), (Message("mtbf.calendar_time"),))


def written(answer: Answer, form: str, **more: bool) -> bytes:
    stream = io.BytesIO()
    write_answer(answer, stream, form, **more)
    return stream.getvalue()


def test_csv_keeps_every_digit_and_leaves_the_undefined_empty(answer: Answer) -> None:
    text = written(answer, "csv").decode()
    lines = text.splitlines()
    assert lines[0] == "component,failures,mtbf,position,last,open"
    assert lines[1] == "'=1+1,0,0.3333333333333333,1,2024-05-31T06:30:00.250000,True"
    assert lines[2] == "'+2,1,,2,,False"
    assert lines[3] == "'-3,2,-2.5,,2024-01-01T00:00:00,True"
    assert lines[6] == ",5,0.30000000000000004,6,2024-01-01T00:00:00,False"
    assert len(lines) == 1 + len(answer.table)
    back = pd.read_csv(io.StringIO(text), float_precision="round_trip")
    assert back["mtbf"].equals(answer.table["mtbf"])


def test_json_is_a_bare_list_with_null_for_the_undefined(answer: Answer) -> None:
    rows = json.loads(written(answer, "json"))
    assert [list(row) for row in rows] == [list(answer.table)] * 6
    assert rows[0] == {
        "component": "=1+1",
        "failures": 0,
        "mtbf": 1 / 3,
        "position": 1,
        "last": "2024-05-31T06:30:00.250000",
        "open": True,
    }
    assert (rows[1]["mtbf"], rows[1]["last"], rows[2]["position"]) == (None, None, None)


def test_json_with_basis_is_an_object(answer: Answer) -> None:
    whole = json.loads(written(answer, "json", with_basis=True))
    assert whole["rows"] == json.loads(written(answer, "json"))
    assert whole["basis"]["filters"] == {"components": ["injector", "filter"]}
    assert whole["basis"]["since"] == "2024-01-01T00:00:00"
    assert whole["basis"]["exposure"] is None
    assert len(whole["notes"]) == 1
    assert whole["notes"][0].startswith("On the days clock")


def test_parquet_reads_back_equal(answer: Answer) -> None:
    back = pd.read_parquet(io.BytesIO(written(answer, "parquet")))
    pd.testing.assert_frame_equal(back, answer.table, check_dtype=False)


def test_xlsx_has_the_table_and_the_basis_on_two_sheets(answer: Answer, tmp_path: Path) -> None:
    write_answer(answer, tmp_path / "figures.xlsx", "xlsx")
    book = CalamineWorkbook.from_path(str(tmp_path / "figures.xlsx"))
    assert book.sheet_names == ["mtbf", "basis"]
    sheet = book.get_sheet_by_name("mtbf").to_python()
    assert sheet[0] == list(answer.table)
    assert sheet[1][:3] == ["'=1+1", 0, 1 / 3]
    # numbers stay numbers, also negative ones
    assert sheet[3][1:3] == [2, -2.5]
    assert sheet[2][2] == ""
    basis = dict(book.get_sheet_by_name("basis").to_python()[1:])
    assert basis["left_out: no_clock"] == "3"
    assert basis["filters: components"] == "injector, filter"
    assert basis["clock"] == "hours"


def test_formats_agree(answer: Answer) -> None:
    from_csv = pd.read_csv(io.BytesIO(written(answer, "csv")), float_precision="round_trip")
    from_json = pd.DataFrame(json.loads(written(answer, "json")))
    from_parquet = pd.read_parquet(io.BytesIO(written(answer, "parquet")))
    for column in ("failures", "mtbf"):
        assert from_csv[column].equals(from_json[column])
        assert from_csv[column].equals(from_parquet[column])


def test_a_file_is_written_whole_or_not_at_all(answer: Answer, tmp_path: Path) -> None:
    target = tmp_path / "figures.csv"
    target.mkdir()  # cannot be replaced by a file
    with pytest.raises(OSError, match="figures"):
        write_answer(answer, target, "csv")
    assert [path.name for path in tmp_path.iterdir()] == ["figures.csv"]


def test_an_empty_table_keeps_its_header(answer: Answer) -> None:
    empty = Answer("mtbf", answer.table.iloc[:0], answer.basis, answer.reading)
    assert written(empty, "csv").decode() == "component,failures,mtbf,position,last,open\n"
    assert json.loads(written(empty, "json")) == []
