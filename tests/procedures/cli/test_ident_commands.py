"""A log goes on under another ident when somebody says so, and only then."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.clock import ManualClock
from daq.log.entry import Kind
from daq.log.owner import open_station_log_for_writing
from daq.log.reader import LogReader
from daq.station import Station, load_station
from procedures.engine.run_started import started_body
from tests.procedures.engine.desk import STATION_TEXT
from tests.support.commands import CommandLine


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def renamed(tmp_path: Path) -> Station:
    """A station whose ident was changed after its first run."""
    path = tmp_path / "station.toml"
    path.write_text(STATION_TEXT, encoding="utf-8")
    first = load_station(path)
    with open_station_log_for_writing(first, ManualClock()) as writer:
        body = started_body("routine", 1, first, (), operator="x")
        writer.append(1, Kind.RUN_STARTED, "routine", body)
    path.write_text(STATION_TEXT.replace('"ITN"', '"ITA"'), encoding="utf-8")
    return load_station(path)


def test_a_log_goes_on_under_the_new_ident_and_keeps_who_it_was(
    renamed: Station, trimbench: CommandLine
) -> None:
    said = trimbench("ident-changed", "--from", "ITN", "--station", renamed.path)
    assert said.code == 0
    assert "the ident was changed from ITN to ITA" in said.out
    open_station_log_for_writing(renamed, ManualClock()).close()
    with LogReader(renamed.log_path) as reader:
        (event,) = reader.entries(kind=Kind.EVENT)
        assert (event.body["was"], event.body["now"]) == ("ITN", "ITA")
        assert [run.run for run in reader.runs()] == [1, 2]
        reader.verify()


@pytest.mark.parametrize("wrong", ["ITA", "XXX"])
def test_who_does_not_name_the_ident_of_the_log_changes_nothing(
    wrong: str, renamed: Station, trimbench: CommandLine
) -> None:
    before = renamed.log_path.read_bytes()
    said = trimbench("ident-changed", "--from", wrong, "--station", renamed.path)
    assert said.code == 2
    assert "the log bears the ident 'ITN'" in said.err
    assert renamed.log_path.read_bytes() == before
