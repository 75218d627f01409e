"""`trimbench routine`: what it runs, in which order, and what it says when nothing is due."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from procedures.commands.routine import Who, routine_app
from tests.support.equipment import station_text

Ran = list[tuple[str, str]]


@pytest.fixture
def station(tmp_path: Path) -> Path:
    path = tmp_path / "tarnholt-16.toml"
    path.write_text(station_text(), encoding="utf-8")
    return path


def app_that_notes(ran: Ran) -> typer.Typer:
    def run(name: str, path: Path, who: Who, as_json: bool) -> None:
        ran.append((name, who))

    return routine_app(run)


def called(*argv: str) -> tuple[Ran, str]:
    ran: Ran = []
    done = CliRunner().invoke(app_that_notes(ran), list(argv))
    assert done.exit_code == 0, done.output
    return ran, done.stdout


def test_alone_it_takes_the_routine_readings(station: Path) -> None:
    ran, _ = called("--station", str(station), "--operator", "sim")
    assert ran == [("routine", "sim")]


def test_due_runs_everything_that_was_never_done_each_once(station: Path) -> None:
    ran, _ = called("--station", str(station), "--due")
    names = [name for name, _ in ran]
    assert {"routine", "course", "alarms", "monitor-baseline"} <= set(names)
    assert len(names) == len(set(names))
    assert {who for _, who in ran} == {"terminal"}


def test_list_says_it_and_runs_nothing(station: Path) -> None:
    ran, told = called("--station", str(station), "--due", "--list", "--json")
    assert ran == []
    assert "alarms" in json.loads(told)["procedures"]


def test_the_station_s_own_intervals_are_asked(station: Path) -> None:
    own = '[[maintenance.routine]]\nname = "x"\nprocedure = "alarms"\ninterval = "30 d"\n\n'
    text = station.read_text(encoding="utf-8").replace("[routine]\n", f"{own}[routine]\n")
    station.write_text(text, encoding="utf-8")
    ran, _ = called("--station", str(station), "--due")
    assert [name for name, _ in ran] == ["alarms"]


def test_nothing_due_is_said(station: Path) -> None:
    text = station.read_text(encoding="utf-8").replace("[routine]\n", "[maintenance]\n[routine]\n")
    station.write_text(text, encoding="utf-8")
    ran, told = called("--station", str(station), "--due")
    assert (ran, told.strip()) == ([], "Nothing is due.")
