"""A baseline over the real links, and every command that reads its log afterwards."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import repeat
from pathlib import Path

import pandas as pd
import pytest
from pypdf import PdfReader

from daq.clock import SystemClock
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.log.writer import LogWriter
from tests.support.commands import CommandLine, Said
from tests.support.in_process import InProcessBench
from tests.support.operators import Interrupted, Minded
from tests.support.plants import STATION, demo_station
from tests.support.served import served_bench

LOG = "tarnholt-16.tblog"


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def logged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a station file and a log: one run finished, one stopped, one cut off."""
    folder = tmp_path_factory.mktemp("logged")
    shutil.copy(STATION, folder / "tarnholt-16.toml")
    log = folder / LOG
    with InProcessBench.make(demo_station(), log=log) as bench:
        bench.run("monitor-baseline")
    with InProcessBench.make(demo_station(), log=log) as bench:
        stops = Minded(
            bench.technician(2),
            answers={"put back/1.1": False},
            commands={"/null": repeat("abort", 1)},
        )
        bench.run("monitor-baseline", stops)
        cut_off = Minded(bench.technician(3), answers={"cautions/voltage": KeyboardInterrupt()})
        with pytest.raises(KeyboardInterrupt):
            bench.run("monitor-baseline", cut_off)
    return folder


@pytest.fixture(scope="module")
def left_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose log has one run, cut off at the null with the quarter-wave line in."""
    folder = tmp_path_factory.mktemp("left in")
    shutil.copy(STATION, folder / "tarnholt-16.toml")
    with InProcessBench.make(demo_station(), log=folder / LOG) as bench:
        who = Interrupted(bench.technician(1), at_view=lambda view: view.key.endswith("/null"))
        with pytest.raises(KeyboardInterrupt):
            bench.run("monitor-baseline", who)
    return folder


@pytest.fixture
def folder(logged: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it to work in."""
    shutil.copytree(logged, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@dataclass(frozen=True)
class Ran:
    folder: Path
    said: Said


@pytest.fixture
def ran(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trimbench: CommandLine) -> Iterator[Ran]:
    monkeypatch.chdir(tmp_path)
    with served_bench(tmp_path, speed=40.0):
        yield Ran(tmp_path, trimbench("run", "monitor-baseline", "--operator", "sim", "--json"))


def test_a_whole_baseline_from_the_command_line(ran: Ran, trimbench: CommandLine) -> None:
    """Real sockets and a real serial line; the record and its digest are in order."""
    assert (ran.said.code, ran.said.err) == (0, "")
    end = ran.said.json
    assert (end["run"], end["result"], end["open_hazards"]) == (1, "finished", [])
    assert end["verdicts"]["in"] > 10
    assert (end["verdicts"]["out"], end["resumable"]) == ([], False)
    pdf, csv = Path(end["pdf"]), Path(end["csv"])
    assert pdf.name == "tarnholt-16-run-0001.pdf"
    text = "".join(page.extract_text() for page in PdfReader(pdf).pages)
    assert end["digest"][:8] in text.replace(" ", "").replace("\n", "")
    with LogReader(ran.folder / LOG) as reader:
        readings = reader.run(1).readings
    assert len(pd.read_csv(csv, comment="#")) == readings
    assert trimbench("verify", "--digest", end["digest"][:16]).code == 0
    # What has ended is not gone on with.
    again = trimbench("resume", 1, "--operator", "sim")
    assert again.code == 2
    assert "Run 1 has ended (finished)" in again.err


# runs -----------------------------------------------------------------------------------------


def test_the_runs_are_listed_with_how_they_ended(folder: Path, trimbench: CommandLine) -> None:
    body = trimbench("runs", "--json").json
    runs = body["runs"]
    assert [run["result"] for run in runs] == ["finished", "aborted", "cut off"]
    assert [run["run"] for run in runs] == [1, 2, 3]
    assert {run["procedure"] for run in runs} == {"monitor-baseline"}
    assert runs[0]["started"].startswith("2027-01-15T")
    assert runs[0]["readings"] > 400 > runs[1]["readings"] > runs[2]["readings"] == 0
    assert "quarter-wave line" in runs[1]["open_hazards"][0]
    with LogReader(folder / LOG) as reader:
        checked = reader.verify()
    assert (body["rows"], body["digest"]) == (checked.rows, checked.digest)


def test_for_people_an_open_hazard_stands_out(folder: Path, trimbench: CommandLine) -> None:
    out = trimbench("runs", "--station", folder / "tarnholt-16.toml").out
    assert "NOT CONFIRMED AS PUT BACK: the quarter-wave line is in" in out
    assert "the chain holds" in out
    assert len(out.splitlines()) == 5


def test_a_run_that_was_cut_off_says_what_it_left_open(
    left_in: Path, trimbench: CommandLine
) -> None:
    (run,) = trimbench("runs", "--json", "--station", left_in / "tarnholt-16.toml").json["runs"]
    assert (run["result"], run["resumable"]) == ("cut off", True)
    (hazard,) = run["open_hazards"]
    assert "quarter-wave line" in hazard
    assert "SBO path at the transmitter" in hazard
    out = trimbench("runs", "--station", left_in / "tarnholt-16.toml").out
    assert f"NOT CONFIRMED AS PUT BACK: {hazard}" in out


def test_a_run_that_another_process_works_on_is_running(
    left_in: Path, tmp_path: Path, trimbench: CommandLine
) -> None:
    shutil.copytree(left_in, tmp_path, dirs_exist_ok=True)
    station = tmp_path / "tarnholt-16.toml"
    with LogWriter(tmp_path / LOG, SystemClock()) as writer:
        writer.append(1, Kind.EVENT, "resumed", {"event": "resumed"})
        (run,) = trimbench("runs", "--json", "--station", station).json["runs"]
        out = trimbench("runs", "--station", station).out
    assert (run["result"], run["resumable"]) == ("running", False)
    assert "running" in out
    assert "STILL OPEN: the quarter-wave line" in out


def test_only_the_run_that_writes_is_running(folder: Path, trimbench: CommandLine) -> None:
    """What ended has its end, whoever holds the log by now."""
    with LogWriter(folder / LOG, SystemClock()) as writer:
        writer.append(3, Kind.EVENT, "resumed", {"event": "resumed"})
        runs = trimbench("runs", "--json").json["runs"]
    assert [run["result"] for run in runs] == ["finished", "aborted", "running"]
    assert [run["resumable"] for run in runs] == [False, True, False]


def test_whoever_holds_the_log_before_a_first_row_runs_none_of_the_earlier_runs(
    folder: Path, trimbench: CommandLine
) -> None:
    """Instruments are being opened: run 3 was cut off, and still is."""
    with LogWriter(folder / LOG, SystemClock()):
        runs = trimbench("runs", "--json").json["runs"]
    assert [run["result"] for run in runs] == ["finished", "aborted", "cut off"]
    assert [run["resumable"] for run in runs] == [False, True, True]


# record ---------------------------------------------------------------------------------------


def test_a_record_is_made_again_wherever_it_is_wanted(folder: Path, trimbench: CommandLine) -> None:
    beside = trimbench("record", 2)
    assert beside.code == 0
    assert (folder / "tarnholt-16-run-0002.pdf").read_bytes().startswith(b"%PDF")
    (folder / "out").mkdir()
    made = trimbench("record", 2, "--folder", folder / "out", "--json").json
    assert Path(made["csv"]).parent == folder / "out"
    first = (folder / "tarnholt-16-run-0002.csv").read_bytes()
    assert Path(made["csv"]).read_bytes() == first


@pytest.mark.parametrize(
    ("argv", "code", "words"),
    [
        ((9,), 2, "9"),
        ((99999999999999999999,), 2, "no run 99999999999999999999"),
        ((1, "--folder", "nowhere"), 4, "nowhere"),
        (("one",), 2, "RUN"),
    ],
)
def test_a_record_that_cannot_be_made_leaves_nothing(
    argv: tuple[object, ...], code: int, words: str, folder: Path, trimbench: CommandLine
) -> None:
    said = trimbench("record", *argv)
    assert said.code == code
    said.is_a_short_message()
    assert words in said.err
    assert not list(folder.glob("**/*.pdf"))


# verify ---------------------------------------------------------------------------------------


def test_the_chain_holds_and_a_printed_digest_is_found(
    folder: Path, trimbench: CommandLine
) -> None:
    digest = trimbench("runs", "--json").json["runs"][0]["digest"]
    said = trimbench("verify", "--digest", digest[:12], "--json")
    assert said.code == 0
    assert said.json["rows"] > 400
    assert "the chain holds" in trimbench("verify").out


def test_a_digest_of_another_log_is_not_found(folder: Path, trimbench: CommandLine) -> None:
    said = trimbench("verify", "--digest", "0" * 16)
    assert said.code in (2, 4)
    said.is_a_short_message()
    assert "0000" in said.err


@pytest.mark.parametrize("digest", ["", "  ", "3fa9c1d", "xyzxyzxyz"])
def test_what_is_no_digest_is_not_taken_for_one_that_was_found(
    digest: str, folder: Path, trimbench: CommandLine
) -> None:
    said = trimbench("verify", "--digest", digest)
    assert said.code == 2
    said.is_a_short_message()
    assert f"'{digest}' is no digest" in said.err


EDITS = {
    "a value changed": "UPDATE entries SET body = replace(body, ':', ': ') WHERE seq = 20",
    "a row removed": "DELETE FROM entries WHERE seq = 20",
    "a row moved": "UPDATE entries SET seq = 100000 WHERE seq = 20",
    "a time changed": "UPDATE entries SET utc_ns = utc_ns + 1 WHERE seq = 20",
}


@pytest.mark.parametrize("edit", EDITS)
def test_whatever_is_edited_is_found(edit: str, folder: Path, trimbench: CommandLine) -> None:
    connection = sqlite3.connect(folder / LOG)
    connection.execute("DROP TRIGGER no_update")
    connection.execute("DROP TRIGGER no_delete")
    assert connection.execute(EDITS[edit]).rowcount == 1
    connection.commit()
    connection.close()
    for command in ("verify", "runs"):
        said = trimbench(command)
        assert said.code == 4
        said.is_a_short_message()
    assert trimbench("verify", "--json").error["kind"] == "LogDamaged"
    assert "warning: THE LOG WAS CHANGED: " in trimbench("record", 2).err


# resume -----------------------------------------------------------------------------------------


def test_what_finished_does_not_go_on_and_what_was_stopped_does(
    folder: Path, trimbench: CommandLine
) -> None:
    """Runs 2, stopped, and 3, cut off, get as far as their instruments, where nobody answers."""
    for run, code in ((1, 2), (2, 3), (3, 3), (4, 2)):
        said = trimbench("resume", run, "--operator", "sim")
        assert said.code == code
        said.is_a_short_message()


@pytest.mark.parametrize("command", [("run", "monitor-baseline"), ("watch", "vpp"), ("resume", 3)])
def test_nothing_is_written_into_the_log_of_another_station(
    command: tuple[object, ...], folder: Path, trimbench: CommandLine
) -> None:
    station = folder / "tarnholt-16.toml"
    text = station.read_text(encoding="utf-8")
    station.write_text(text.replace('ident = "ITN"', 'ident = "IVH"'), encoding="utf-8")
    with LogReader(folder / LOG) as reader:
        before = reader.verify()
        said = trimbench(*command)
        assert reader.verify() == before
    assert said.code == 5
    said.is_a_short_message()
    assert "ident ITN" in said.err
    assert "ident IVH" in said.err
