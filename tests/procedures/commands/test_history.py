"""The commands, as they are typed."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.log.reader import LogReader
from procedures.commands.errors import run_app
from procedures.commands.history import history_app
from tests.procedures.history.log_of_years import write_five_years, write_station


@pytest.fixture(scope="module")
def station(tmp_path_factory):
    written = write_station(tmp_path_factory.mktemp("commands"))
    # Five years that end before the machine's own today.
    write_five_years(written, ManualClock(epoch_ns=1_500_000_000_000_000_000))
    return written


@pytest.fixture
def run(station, capsys):
    def call(*arguments):
        code = run_app(history_app, [*arguments, "--station", str(station.path)])
        said = capsys.readouterr()
        return code, said.out, said.err

    return call


class Fresh:
    """A copy of the log to spoil."""

    def __init__(self, station, capsys):
        self.station, self._capsys = station, capsys
        self.folder = station.path.parent

    def __call__(self, *arguments):
        code = run_app(history_app, [*arguments, "--station", str(self.station.path)])
        said = self._capsys.readouterr()
        return code, said.out, said.err

    def files(self):
        lock = f"{self.station.log_path.name}.lock"
        everything = (path for path in self.folder.iterdir() if path.is_file())
        return {path.name: path.read_bytes() for path in everything if path.name != lock}


@pytest.fixture
def fresh(station, tmp_path, capsys):
    folder = tmp_path / "copy"
    folder.mkdir()
    copy = write_station(folder)
    shutil.copy(station.log_path, copy.log_path)
    return Fresh(copy, capsys)


def test_trend_lists_the_parameters_with_their_remarks(run):
    code, out, _ = run("trend")
    assert code == 0
    assert "course width: drifts" in out or "course width: leaves" in out
    assert "mast struck by lightning" in out


def test_trend_as_json_with_a_plot(run, tmp_path):
    code, out, _ = run("trend", "clearance 90", "--json", "--plot", str(tmp_path / "c.png"))
    assert code == 0
    (trend,) = json.loads(out)["trends"]
    assert trend["parameter"] == "clearance 90"
    assert len(trend["history"]) == 60
    assert (tmp_path / "c.png").read_bytes().startswith(b"\x89PNG")


def test_a_plot_without_a_name_is_a_page_of_all(run, tmp_path):
    code, out, _ = run("trend", "--plot", str(tmp_path / "all.svg"))
    assert code == 0
    assert f"Plot  {tmp_path / 'all.svg'}" in out
    assert (tmp_path / "all.svg").read_bytes().startswith(b"<?xml")


def test_an_unknown_parameter_is_one_object_on_standard_error(run):
    code, out, err = run("trend", "clearence 90", "--json")
    assert (code, out) == (2, "")
    assert "did you mean 'clearance 90'" in json.loads(err)["error"]["hint"]


def test_due_lists_and_writes_a_calendar(run, tmp_path):
    code, out, _ = run("due", "--ics", str(tmp_path / "due.ics"), "--json")
    assert code == 0
    listed = json.loads(out)["due"]
    assert {"calibration", "routine"} == {item["kind"] for item in listed}
    assert (tmp_path / "due.ics").read_text().startswith("BEGIN:VCALENDAR")
    code, out, _ = run("due")
    assert "calibration of receiver" in out


def test_export_writes_both_files(run, tmp_path):
    code, out, _ = run(
        "export", "--csv", str(tmp_path / "a.csv"), "--parquet", str(tmp_path / "a.pq")
    )
    assert code == 0
    assert out.count("180 readings") == 2


def test_export_says_what_each_column_is(run):
    code, out, _ = run("export", "--columns")
    assert code == 0
    assert "standard uncertainty" in out
    code, out, _ = run("export", "--columns", "--json")
    assert "raw" in json.loads(out)["columns"]


def test_export_of_nothing_is_refused(run):
    code, _, err = run("export")
    assert code == 2
    assert "--csv FILE, --parquet FILE or both" in err


def test_book_writes_its_pdf(run, tmp_path):
    code, out, _ = run(
        "book", "--from", "2020-01-01", "--to", "2020-06-30", "--folder", str(tmp_path), "--json"
    )
    assert code == 0
    assert json.loads(out)["pdf"].endswith("tarnholt-16-book-2020-01-01-2020-06-30.pdf")


def test_a_day_that_is_none_is_refused(run):
    code, _, err = run("book", "--from", "1.1.2027", "--to", "2027-12-31")
    assert code == 2
    assert "'1.1.2027' is no day" in err


def test_references_are_fixed_and_refused_the_second_time(run):
    code, out, _ = run("fix-references", "59", "--signed-by", "maintenance supervisor")
    assert code == 0
    assert "Reference values, version 1, from run 59" in out
    assert re.search(r"course width +0\.15\d+ ± 0\.00060\n", out)
    assert re.search(r"course line IF +1\.\d+ ± 0\.020 V\n", out)
    code, _, err = run("fix-references", "59", "--signed-by", "maintenance supervisor")
    assert code == 5
    assert "already the reference" in err
    code, out, _ = run("fix-references", "60", "--signed-by", "site engineer", "--json")
    assert code == 0
    assert json.loads(out)["supersedes"] == 1


def test_fixing_makes_no_log_where_there_is_none(tmp_path, capsys):
    fresh = write_station(tmp_path)
    arguments = ["fix-references", "1", "--signed-by", "x", "--station", str(fresh.path)]
    assert run_app(history_app, arguments) == 2
    assert "there is no log" in capsys.readouterr().err
    assert not fresh.log_path.exists()


# What is never written over ---------------------------------------------------------------------


WRITES = {
    "a table": ("export", "--csv"),
    "a Parquet file": ("export", "--parquet"),
    "a calendar": ("due", "--ics"),
    "a picture": ("trend", "course width", "--plot"),
}


@pytest.mark.parametrize("name", ["", "log", "log-wal", "log-shm", "log.lock", "station", "pipe"])
@pytest.mark.parametrize("what", WRITES)
def test_an_output_is_refused_where_it_would_replace_what_has_to_stay(
    what, name, fresh, monkeypatch
):
    monkeypatch.chdir(fresh.folder)
    os.mkfifo("pipe")
    place = {"station": "tarnholt-16.toml"}.get(name, name.replace("log", "tarnholt-16.tblog", 1))
    before = fresh.files()
    code, out, err = fresh(*WRITES[what], place)
    assert (code, out) == (2, "")
    assert "fault in trimbench" not in err
    assert fresh.files() == before
    assert Path("pipe").is_fifo()


def test_two_outputs_do_not_share_a_file(fresh, tmp_path):
    place = str(tmp_path / "out")
    code, _, err = fresh("export", "--csv", place, "--parquet", place)
    assert code == 2
    assert "would write over" in err
    assert not Path(place).exists()


# A log of another station -------------------------------------------------------------------------


COMMANDS = (
    ("trend",),
    ("due",),
    ("export", "--csv", "x.csv"),
    ("fix-references", "1", "--signed-by", "x"),
    ("book", "--from", "2020-01-01", "--to", "2020-06-30"),
)


FIXES = ("fix-references", "1", "--signed-by", "x")


@pytest.mark.parametrize("command", [each for each in COMMANDS if each != FIXES])
@pytest.mark.parametrize(
    ("was", "is_"), [("ITN", "OSL"), ("Tarnholt aerodrome", "Elsewhere"), ('"16"', '"34"')]
)
def test_the_log_of_another_station_is_read_with_a_warning(command, was, is_, fresh, monkeypatch):
    monkeypatch.chdir(fresh.folder)
    fresh.station.path.write_text(fresh.station.text.replace(was, is_, 1))
    code, _, err = fresh(*command)
    assert code == 0
    assert "the log of 'Tarnholt aerodrome', runway 16, ident ITN" in err
    assert is_.strip('"') in err


def test_no_references_are_fixed_in_the_log_of_another_ident(fresh):
    fresh.station.path.write_text(fresh.station.text.replace("ITN", "OSL", 1))
    with LogReader(fresh.station.log_path) as reader:
        before = reader.verify()
        code, out, err = fresh(*FIXES)
        assert (code, out) == (5, "")
        assert "give `log` in the station file another name" in err
        assert reader.verify() == before


def test_the_same_station_with_other_points_keeps_its_log(fresh):
    fresh.station.path.write_text(fresh.station.text.replace('"0.003"', '"0.002"'))
    assert fresh("trend")[0] == 0


# A log that was changed ---------------------------------------------------------------------------


@pytest.fixture
def changed(fresh):
    connection = sqlite3.connect(fresh.station.log_path)
    connection.execute("DROP TRIGGER no_update")
    connection.execute("UPDATE entries SET utc_ns = utc_ns + 1 WHERE seq = 20")
    connection.commit()
    connection.close()
    return fresh


@pytest.mark.parametrize("command", [*COMMANDS[:3], COMMANDS[4]])
def test_what_is_made_of_a_changed_log_comes_with_a_warning(command, changed, monkeypatch):
    monkeypatch.chdir(changed.folder)
    code, _, err = changed(*command)
    assert code == 0
    assert err.startswith("warning: THE LOG WAS CHANGED: ")
    assert "chain breaks at row 20" in err
    code, out, err = changed(*command, "--json")
    assert (code, err) == (0, "")
    (warning,) = json.loads(out)["warnings"]
    assert "chain breaks at row 20" in warning


def test_a_changed_log_gives_no_references(changed):
    with LogReader(changed.station.log_path) as reader:
        before = reader.run_numbers()
        code, out, err = changed("fix-references", "1", "--signed-by", "site engineer")
        assert reader.run_numbers() == before
    assert (code, out) == (4, "")
    assert "chain breaks at row 20" in err


def test_whose_values_become_the_reference_is_said(fresh):
    code, out, err = fresh("fix-references", "1", "--signed-by", "site engineer")
    assert code == 0
    assert "warning: run 1 is no baseline but 'routine'" in err
    assert "warning: run 1 is not the newest 'routine' that finished; run 60 is." in err
    assert out.endswith("In force from now on; fixed by: site engineer.\n")
    code, out, err = fresh("fix-references", "60", "--signed-by", "site engineer", "--json")
    assert (code, err) == (0, "")
    assert len(json.loads(out)["warnings"]) == 1
