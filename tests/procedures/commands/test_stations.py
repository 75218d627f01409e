"""`trimbench station new`: the station file that every example names, where none is yet."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import InputError
from daq.station import load_station
from procedures.commands.stations import SHIPPED, shipped_stations, shipped_text
from tests.support.commands import CommandLine
from tests.support.plants import STATION


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch) -> CommandLine:
    """The command line in a fresh folder."""
    monkeypatch.chdir(tmp_path)
    return CommandLine(capsys)


def test_in_a_fresh_folder_the_copy_is_the_shipped_file(
    trimbench: CommandLine, tmp_path: Path
) -> None:
    said = trimbench("station", "new")
    assert (said.code, said.err) == (0, "")
    assert "trimbench simulate tarnholt-16.toml" in said.out
    assert (tmp_path / SHIPPED).read_bytes() == STATION.read_bytes()
    assert load_station(tmp_path / SHIPPED).station.ident == "ITN"


@pytest.mark.parametrize("command", ["simulate", "runs --station", "run course --station"])
def test_a_missing_file_of_a_shipped_name_says_how_to_get_it(
    command: str, trimbench: CommandLine, tmp_path: Path
) -> None:
    """What the error says is typed; then the file is there."""
    said = trimbench(*command.split(), SHIPPED)
    assert said.code == 2
    said.is_a_short_message()
    hint = said.err.partition("`trimbench ")[2].partition("`")[0]
    assert trimbench(*hint.split()).code == 0
    assert (tmp_path / SHIPPED).is_file()


def test_a_missing_file_of_another_name_is_not_taken_for_it(trimbench: CommandLine) -> None:
    said = trimbench("simulate", "mine.toml")
    assert said.code == 2
    assert "station new" not in said.err


def test_a_folder_without_any_says_how_to_begin(trimbench: CommandLine) -> None:
    said = trimbench("runs")
    assert said.code == 2
    assert "`trimbench station new`" in said.err


def test_nothing_is_written_over(trimbench: CommandLine, tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text("precious", encoding="utf-8")
    said = trimbench("station", "new", "mine.toml")
    assert said.code == 2
    assert "is there already" in said.err
    assert (tmp_path / "mine.toml").read_text(encoding="utf-8") == "precious"


@pytest.mark.parametrize(("given", "written"), [("mine", "mine.toml"), ("sub", "sub/" + SHIPPED)])
def test_a_name_gets_its_ending_and_a_folder_the_shipped_name(
    given: str, written: str, trimbench: CommandLine, tmp_path: Path
) -> None:
    (tmp_path / "sub").mkdir()
    assert trimbench("station", "new", given, "--json").json == {"station": written}
    assert (tmp_path / written).is_file()


def test_what_does_not_come_with_the_program_is_said() -> None:
    assert SHIPPED in shipped_stations()
    with pytest.raises(InputError, match=r"did you mean 'tarnholt-16\.toml'"):
        shipped_text("tarnhold-16.toml")


def test_the_program_tells_its_version(trimbench: CommandLine) -> None:
    said = trimbench("--version")
    assert said.code == 0
    assert said.out.startswith("trimbench ")
    assert said.out.split()[1][0].isdigit()
