"""How a run ended: its verdicts in words and as data, and what an interruption says."""

from __future__ import annotations

import json
import os
import signal
from pathlib import Path

import pytest
import typer

from daq.clock import ManualClock
from daq.errors import InputError
from daq.station import Station
from procedures.commands.ending import finish, interrupts_told
from procedures.commands.errors import Interrupted
from procedures.commands.verdicts import verdicts_of
from procedures.engine.runner import CutOff, Result, RunEnd
from tests.procedures.history.log_of_years import YearsLog, write_station


@pytest.fixture
def station(tmp_path: Path, clock: ManualClock) -> Station:
    """A station whose log has one run: one line in, one out, one that was out and is in."""
    made = write_station(tmp_path)
    with YearsLog(made, clock) as log:
        log.start("monitor-baseline")
        log.found("course width", 0.1600)
        log.found("clearance 90", -0.2100)
        log.found("course line IF", 1.700)
        log.adjusted("course line IF", 1.5, control="course line IF level")
        log.end()
    return made


def end_of(result: Result = "finished", *, resumable: bool = False) -> RunEnd:
    return RunEnd(1, result, "", (), "ab" * 32, resumable=resumable)


def test_what_is_out_is_told_by_name_and_the_run_still_finished(
    station: Station, capsys: pytest.CaptureFixture[str]
) -> None:
    finish(station, end_of(), as_json=False)
    out = capsys.readouterr().out
    assert "Run 1 finished." in out
    assert "2 of 3 judged lines in tolerance; 1 out." in out
    (line,) = [line for line in out.splitlines() if line.startswith("- ")]
    assert line == ("- 'course width': 0.16000 ± 0.00060, out of tolerance (0.152 to 0.158)")


def test_a_program_gets_the_verdicts_too(
    station: Station, capsys: pytest.CaptureFixture[str]
) -> None:
    finish(station, end_of(), as_json=True)
    data = json.loads(capsys.readouterr().out)
    assert data["result"] == "finished"
    assert (data["verdicts"]["in"], data["verdicts"]["undecided"]) == (2, [])
    (line,) = data["verdicts"]["out"]
    assert (line["point"], line["quantity"], line["value"]) == ("course width", "ddm", 0.16)
    assert (line["low"], line["high"]) == (0.152, 0.158)
    assert line["verdict"] == "out of tolerance"


def test_nothing_is_said_where_nothing_was_judged(
    tmp_path: Path, clock: ManualClock, capsys: pytest.CaptureFixture[str]
) -> None:
    made = write_station(tmp_path)
    with YearsLog(made, clock) as log:
        log.start("monitor-baseline")
        log.end("aborted")
    with pytest.raises(typer.Exit) as stopped:
        finish(made, end_of("aborted", resumable=True), as_json=False)
    out = capsys.readouterr().out
    assert stopped.value.exit_code == 6
    assert "tolerance" not in out
    assert "`trimbench resume 1` takes it up again." in out


def test_what_is_undecided_is_neither_in_nor_out(tmp_path: Path, clock: ManualClock) -> None:
    made = write_station(tmp_path)
    with YearsLog(made, clock) as log:
        log.start("routine")
        measured = log.measured("course width", 0.1579)
        request = {"do": "measure", "point": "course width", "label": "as found"}
        log.journal.outcome("w", request, measured.to_body)
        judged = {
            "do": "judge",
            "title": "course width, as found",
            "point": "course width",
            "quantity": "ddm",
            "value": measured.value,
            "u": measured.u,
            "low": 0.152,
            "high": 0.158,
            "source": "x",
            "status": "x",
            "rule": "guarded",
            "verdict": "too close to call",
        }
        log.journal.outcome("w/verdict", judged, dict)
        log.end()
    verdicts = verdicts_of(made.log_path, 1)
    assert (verdicts.within, verdicts.out) == ((), ())
    (line,) = verdicts.undecided
    assert line.in_words().endswith("too close to call (0.152 to 0.158)")


@pytest.mark.parametrize("as_json", [False, True])
def test_what_was_left_open_is_said_also_where_no_record_can_be_made(
    as_json: bool, station: Station, capsys: pytest.CaptureFixture[str]
) -> None:
    """A folder stands where the file belongs: it cannot be written, as on a full disk."""
    station.log_path.with_name(f"{station.log_path.stem}-run-0001.csv").mkdir()
    end = RunEnd(1, "aborted", "Stopped.", ("the line is in",), "ab" * 32)
    with pytest.raises(InputError, match="is a folder"):
        finish(station, end, as_json=as_json)
    out = capsys.readouterr().out
    if as_json:
        data = json.loads(out)
        assert (data["result"], data["open_hazards"]) == ("aborted", ["the line is in"])
        assert (data["verdicts"]["in"], data["pdf"], data["csv"]) == (2, None, None)
    else:
        assert "Run 1 aborted. Stopped." in out
        assert "CAUTION: not confirmed as put back: the line is in." in out
        assert "`trimbench record 1` makes it" in out
        assert "Readings " not in out


def test_ctrl_c_within_a_run_becomes_an_error_that_says_how_to_go_on() -> None:
    said = r"run 3 is cut off\. STILL OPEN: the line is in.*resume 3"
    with pytest.raises(Interrupted, match=said), interrupts_told():
        raise CutOff(3, ("the line is in",))


def test_ctrl_c_before_a_run_stays_what_it_is() -> None:
    with pytest.raises(KeyboardInterrupt), interrupts_told():
        raise KeyboardInterrupt


def test_a_terminate_signal_is_heard_like_ctrl_c_and_only_within_a_run() -> None:
    before = signal.getsignal(signal.SIGTERM)
    with pytest.raises(KeyboardInterrupt), interrupts_told():
        os.kill(os.getpid(), signal.SIGTERM)
    assert signal.getsignal(signal.SIGTERM) == before


def test_ctrl_c_in_a_run_that_cannot_be_taken_up_promises_no_resuming() -> None:
    with pytest.raises(Interrupted) as stop, interrupts_told():
        raise CutOff(3, ("the line is in",), resumable=False)
    assert "STILL OPEN: the line is in" in stop.value.message
    assert "resume" not in str(stop.value)
