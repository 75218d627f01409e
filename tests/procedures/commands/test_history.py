"""The commands, as they are typed."""

from __future__ import annotations

import json
import re

import pytest

from daq.clock import ManualClock
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


def test_a_plot_needs_a_parameter(run, tmp_path):
    code, _, err = run("trend", "--plot", str(tmp_path / "c.png"))
    assert code == 2
    assert "trimbench trend NAME" in err


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
