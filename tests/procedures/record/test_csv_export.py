"""The table of readings, read back by Python's csv and by pandas."""

import csv
import errno
import io
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.errors import InputError, LogError, LogFull
from daq.log.reader import LogReader
from daq.reading import Quality
from procedures.record.atomic import replacing
from procedures.record.csv_export import COLUMNS, spreadsheet_safe, write_csv
from tests.procedures.record.run_log import RunLog

HOSTILE = '=HYPERLINK("http://x";"y"),\r\n"quoted"; übel'


def export(log: RunLog, run: int = 1) -> Path:
    log.writer.close()
    path = log.path.with_suffix(".csv")
    with LogReader(log.path) as reader:
        write_csv(reader, run, path)
    return path


def test_both_readers_see_the_readings_of_the_run_exactly(log: RunLog) -> None:
    log.start()
    values = [0.1 + 0.2, -0.155, 1e-17]
    for value in values:
        log.reading("step", value, raw="DDM 1")
    path = export(log)
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, strict=True))
    table = pd.read_csv(path)
    assert tuple(rows[0]) == COLUMNS == tuple(table.columns)
    assert [float(row["value"]) for row in rows] == values
    assert table["value"].tolist() == values
    assert table["unit"].astype(str).tolist() == ["1", "1", "1"]
    assert rows[0]["time_utc"] == "2027-01-15T08:00:00.100Z"
    assert pd.to_datetime(table["time_utc"])[2] == pd.Timestamp("2027-01-15T08:00:00.3Z")
    assert table["mono_ns"].diff().iloc[1:].tolist() == [1e8, 1e8]


def test_other_runs_and_other_rows_stay_out(log: RunLog) -> None:
    log.start()
    log.reading("mine", 0.1)
    log.end()
    log.run = log.journal.run = 2
    log.start()
    log.reading("yours", 0.2)
    assert pd.read_csv(export(log, 2))["step"].tolist() == ["yours"]


def test_missing_value_is_empty_and_keeps_its_reason(log: RunLog) -> None:
    log.start()
    log.reading("step", float("nan"), quality=Quality.NO_VALUE, raw="9.91E37")
    with export(log).open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["value"], row["quality"], row["raw"]) == ("", "no value", "9.91E37")


def test_hostile_text_stays_in_its_cell_and_is_no_formula(log: RunLog) -> None:
    log.start()
    log.reading("+step", -0.155, point="@point", source="-alias", raw=HOSTILE)
    path = export(log)
    with path.open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file, strict=True)
    assert row["raw"] == f"'{HOSTILE}"
    assert (row["step"], row["point"], row["source"]) == ("'+step", "'@point", "'-alias")
    assert row["value"] == "-0.155"  # a number stays a number


def test_lines_end_as_rfc_4180_says(log: RunLog) -> None:
    log.start()
    log.reading("step", 0.1)
    content = export(log).read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") == 2


DANGEROUS = ("=", "+", "-", "@", "\t", "\r")
"""OWASP, CSV injection, from memory."""


@given(
    st.text()
    | st.tuples(st.sampled_from(["", " "]), st.sampled_from(DANGEROUS), st.text()).map("".join)
)
def test_no_text_cell_begins_a_formula(text: str) -> None:
    safe = spreadsheet_safe(text)
    assert not safe.startswith(DANGEROUS)
    assert not safe.lstrip(" ").startswith(DANGEROUS)
    assert safe in (text, f"'{text}")


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_safe_text_survives_csv(text: str) -> None:
    buffer = io.StringIO(newline="")
    csv.writer(buffer, quoting=csv.QUOTE_NONNUMERIC).writerow([spreadsheet_safe(text)])
    (row,) = csv.reader(io.StringIO(buffer.getvalue(), newline=""), strict=True)
    assert row == [spreadsheet_safe(text)]


def test_blanks_in_front_do_not_hide_a_formula() -> None:
    assert spreadsheet_safe("  =1+1") == "'  =1+1"


@pytest.mark.parametrize("text", ["course width", "1.5", "'x", "a=b", ""])
def test_harmless_text_is_left_alone(text: str) -> None:
    assert spreadsheet_safe(text) == text


def test_unknown_run_leaves_no_file(log: RunLog) -> None:
    log.start()
    with pytest.raises(InputError, match="no run 9"):
        export(log, 9)
    assert not log.path.with_suffix(".csv").exists()


def test_full_disk_is_told_and_the_earlier_file_stays(tmp_path: Path) -> None:
    """/dev/full answers every write with ENOSPC, as a full disk does."""
    path = tmp_path / "record.csv"
    path.write_text("earlier")
    (tmp_path / "record.csv.part").symlink_to("/dev/full")
    with pytest.raises(LogFull, match="disk is full"), replacing(path) as file:
        file.write(b"later")
    assert path.read_text() == "earlier"
    assert [entry.name for entry in tmp_path.iterdir()] == ["record.csv"]


def test_readings_onto_a_full_disk(log: RunLog) -> None:
    log.start()
    for _ in range(200):
        log.reading("step", 0.1, raw="x" * 200)
    log.path.with_name("tarnholt-16.csv.part").symlink_to("/dev/full")
    with pytest.raises(LogFull, match="the log is untouched"):
        export(log)
    assert not log.path.with_suffix(".csv").exists()


def test_missing_folder_is_told(tmp_path: Path) -> None:
    path = tmp_path / "nowhere" / "record.csv"
    with pytest.raises(LogError, match="No such file"), replacing(path) as file:
        file.write(b"x")


def test_failed_writing_leaves_nothing_behind(tmp_path: Path) -> None:
    def half() -> None:
        with replacing(tmp_path / "x") as file:
            file.write(b"half")
            raise OSError(errno.EROFS, "read-only file system")

    with pytest.raises(LogError, match="read-only"):
        half()
    assert list(tmp_path.iterdir()) == []
