"""Samples are measured, and the file that they are in stays as it is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.support.commands import CommandLine


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture
def recording(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "over.csv"
    path.write_text("time (s),voltage (V)\n0.0,1.0\n0.001,1.1\n", encoding="utf-8")
    return path


@pytest.mark.parametrize("option", ["--series", "--plot"])
@pytest.mark.parametrize("name", ["over.csv", "./over.csv", "link.csv", "pipe.csv", ""])
def test_a_recording_is_not_written_over_by_what_is_made_of_it(
    name: str, option: str, recording: Path, trimbench: CommandLine
) -> None:
    """Said before anything is measured."""
    (recording.parent / "link.csv").symlink_to("over.csv")
    os.mkfifo(recording.parent / "pipe.csv")
    before = recording.read_bytes()
    said = trimbench("analyze", recording, option, name)
    assert (said.code, said.out) == (2, "")
    said.is_a_short_message()
    assert recording.read_bytes() == before


def test_a_series_does_not_go_over_the_station_file_that_was_named(
    recording: Path, trimbench: CommandLine
) -> None:
    station = recording.with_name("station.csv")
    station.write_text("[station]", encoding="utf-8")
    said = trimbench("analyze", recording, "--series", station, "--station", station)
    assert said.code == 2
    assert "has to stay as it is" in said.err
    assert station.read_text(encoding="utf-8") == "[station]"
