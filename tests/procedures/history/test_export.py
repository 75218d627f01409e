"""All readings out, and back in the same."""

from __future__ import annotations

import csv
import math

import pandas as pd
import pytest
from pyarrow import parquet

from daq.errors import LogError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from procedures.history.export import COLUMNS, write_all_csv, write_all_parquet
from procedures.record.csv_export import COLUMNS as CSV_COLUMNS
from tests.procedures.history.log_of_years import YearsLog, write_station


@pytest.fixture
def reader(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        for value in (0.1 + 0.2, -1.5e-7):
            log.start()
            measurement = log.measured("course width", value)
            log.reading("width/as found", measurement, raw="=HYPERLINK(1)")
            log.reading("width/as found", log.measured("course width", math.nan), raw="9.91E37")
            log.end()
    with LogReader(station.log_path) as opened:
        yield opened


def test_parquet_gives_the_log_s_own_table_back(reader, tmp_path):
    assert write_all_parquet(reader, tmp_path / "r.parquet") == 4
    expected = reader.readings().astype({"u": "float64"})
    pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / "r.parquet"), expected)


def test_each_parquet_column_says_what_it_holds(reader, tmp_path):
    write_all_parquet(reader, tmp_path / "r.parquet")
    schema = parquet.read_schema(tmp_path / "r.parquet")
    said = {field.name: field.metadata[b"description"].decode() for field in schema}
    assert said == dict(COLUMNS)


def test_csv_gives_every_number_back_exactly(reader, tmp_path):
    assert write_all_csv(reader, tmp_path / "r.csv") == 4
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    expected = reader.readings()
    assert list(rows[0]) == list(CSV_COLUMNS)
    for name in ("seq", "run", "mono_ns", "value", "u"):
        read = [float(row[name] or "nan") for row in rows]
        assert read == pytest.approx(expected[name].tolist(), rel=0, abs=0, nan_ok=True)
    times = pd.to_datetime([row["time_utc"] for row in rows], format="ISO8601")
    assert (times == expected["time"].dt.floor("ms")).all()


def test_nothing_in_the_csv_is_a_formula(reader, tmp_path):
    write_all_csv(reader, tmp_path / "r.csv")
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["raw"] == "'=HYPERLINK(1)"
    assert rows[1]["value"] == ""
    assert {row["run"] for row in rows} == {"1", "2"}


def test_the_two_descriptions_of_the_columns_agree():
    assert [name.replace("time_utc", "time") for name in CSV_COLUMNS] == list(COLUMNS)


def test_a_log_without_readings_gives_a_table_without_rows(tmp_path, clock):
    station = write_station(tmp_path)
    with YearsLog(station, clock) as log:
        log.start()
        log.writer.append(1, Kind.EVENT, "x", {"event": "x"})
    with LogReader(station.log_path) as reader:
        assert write_all_csv(reader, tmp_path / "r.csv") == 0
        assert write_all_parquet(reader, tmp_path / "r.parquet") == 0
    assert list(pd.read_parquet(tmp_path / "r.parquet").columns) == list(COLUMNS)


def test_a_missing_folder_is_told(reader, tmp_path):
    with pytest.raises(LogError, match="No such file"):
        write_all_csv(reader, tmp_path / "no" / "r.csv")
