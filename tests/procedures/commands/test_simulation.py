"""The simulated bench as a process, and what the demonstration prepares."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from daq.errors import BenchError, InputError
from daq.station import load_station
from procedures.commands.simulation import (
    DEMO_STATION,
    prepare_demo,
    simulated_bench,
    told_to_a_person,
    with_free_ports,
)
from sim_instruments.bench import SimulatedBench
from sim_instruments.fault_desk import FaultDesk
from sim_instruments.hands_link import HandsSession
from tests.support.commands import CommandLine
from tests.support.plants import STATION

ROOT = Path(__file__).parents[3]
TEXT = STATION.read_text(encoding="utf-8")


@pytest.fixture
def station(tmp_path: Path) -> Path:
    return prepare_demo(tmp_path / "demo")


def simulate(station: Path, *more: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "procedures.cli", "simulate", str(station), *more],
        cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True,
    )  # fmt: skip


def asked(resource: str, question: bytes) -> bytes:
    _, host, port, _ = resource.split("::")
    with socket.create_connection((host, int(port)), timeout=5) as line:
        line.sendall(question)
        return line.makefile("rb").readline()


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_until_it_is_stopped_and_takes_its_links_away(
    how: signal.Signals, station: Path
) -> None:
    process = simulate(station, "--json")
    assert process.stdout is not None
    ready = json.loads(process.stdout.readline())
    scope, receiver, *_ = ready["resources"].values()
    tty = station.parent / "receiver.tty"
    assert receiver == f"ASRL{tty}::INSTR"
    assert tty.is_symlink()
    assert asked(scope, b"*IDN?\n").startswith(b"FERNMARK,OS-4,")
    hands = f"TCPIP::{ready['hands'].replace(':', '::')}::SOCKET"
    assert json.loads(asked(hands, b'position control="monitor width"\n'))["ok"] is True
    process.send_signal(how)
    out, err = process.communicate(timeout=10)
    assert (process.returncode, out, err) == (0, "", "")
    assert not tty.is_symlink()
    with pytest.raises(ConnectionRefusedError):
        asked(scope, b"*IDN?\n")


def test_for_people_it_says_what_is_served_and_how_to_turn_something(station: Path) -> None:
    process = simulate(station)
    assert process.stdout is not None
    served = len(load_station(station).instruments)
    lines = [process.stdout.readline() for _ in range(served + 4)]
    process.terminate()
    process.communicate(timeout=10)
    first_words = [line.split()[0] for line in lines]
    assert first_words == ["serving"] * served + ["hands", "Type", "`help`", "Ctrl-C"]


def test_help_and_refusals_are_lines_for_a_person_and_the_rest_is_as_it_is() -> None:
    bench = SimulatedBench({})
    hands = HandsSession(FaultDesk(bench.hands, {}))

    def said(line: bytes) -> str:
        return told_to_a_person(hands.feed(line + b"\n"))

    assert 'connect receiver point="course width"' in said(b"help").splitlines()[0]
    assert said(b"cut path=sbo").startswith("not done: cut: 'stage' and 'length_m' are missing")
    assert json.loads(said(b"controls"))["ok"] is True


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("width_ratio = 0.66", "width_ration = 0.66", ["simulation.plant.width_ration: unknown"]),
        ("width_ratio = 0.66", 'width_ratio = "much"', ["width_ratio", "a number is expected"]),
        ("width_ratio = 0.66", "width_ratio = 9.0", ["width_ratio", "below 2.5"]),
        ("TCPIP::127.0.0.1::5025::SOCKET", "USB0::1::2::3::INSTR", ["cannot serve at", "USB0"]),
        ('profile = "fernmark-os4"', 'profile = "my.toml"', ["no simulated instrument 'my.toml'"]),
    ],
)
def test_a_plant_or_a_link_that_cannot_be_is_told_with_the_file(
    before: str, after: str, words: list[str], tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    path = tmp_path / "station.toml"
    path.write_text(with_free_ports(TEXT).replace(before, after), encoding="utf-8")
    if before not in with_free_ports(TEXT):
        path.write_text(with_free_ports(TEXT.replace(before, after)), encoding="utf-8")
    said = CommandLine(capsys)("simulate", path)
    assert said.code == 2
    said.is_a_short_message()
    for word in ["station.toml", *words]:
        assert word in said.err


def test_a_port_that_is_taken_is_told(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    port = load_station(station).simulation.hands_port
    with socket.create_server(("127.0.0.1", port)):
        said = CommandLine(capsys)("simulate", station)
    assert said.code == 3
    said.is_a_short_message()
    assert f"somebody listens already on port {port} (the hands)" in said.err
    assert "Errno" not in said.err
    assert not (station.parent / "receiver.tty").is_symlink()


def test_something_that_is_no_link_is_not_overwritten(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    precious = station.parent / "receiver.tty"
    precious.write_text("mine", encoding="utf-8")
    said = CommandLine(capsys)("simulate", station)
    assert said.code == 2
    assert precious.read_text(encoding="utf-8") == "mine"


def test_the_bench_of_the_demonstration_comes_and_goes(station: Path) -> None:
    scope = load_station(station).instrument("scope").resource
    with simulated_bench(station):
        assert asked(scope, b"*IDN?\n").startswith(b"FERNMARK")
    with pytest.raises(ConnectionRefusedError):
        asked(scope, b"*IDN?\n")


def test_a_bench_that_does_not_come_up_says_why(station: Path) -> None:
    text = station.read_text(encoding="utf-8")
    station.write_text(text.replace("seed = 16", "sead = 16"), encoding="utf-8")
    with (
        pytest.raises(BenchError, match=r"did not come up: .*simulation\.plant\.sead: unknown key"),
        simulated_bench(station),
    ):
        pass


def test_the_demonstrations_file_is_the_shipped_one_but_for_its_ports(station: Path) -> None:
    assert station.name == DEMO_STATION
    shipped, prepared = TEXT.splitlines(), station.read_text(encoding="utf-8").splitlines()
    changed = [old for old, new in zip(shipped, prepared, strict=True) if old != new]
    ports = [line for line in shipped if line.startswith(('resource = "TCPIP', "hands_port"))]
    assert len(ports) >= 2
    assert changed == ports


def test_a_station_file_that_is_there_is_used_with_its_changes(station: Path) -> None:
    text = station.read_text(encoding="utf-8").replace("seed = 16", "seed = 17")
    station.write_text(text, encoding="utf-8")
    again = prepare_demo(station.parent)
    assert again == station
    assert "seed = 17" in again.read_text(encoding="utf-8")


def test_a_folder_that_cannot_be_made_is_said(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r"--folder"):
        prepare_demo(tmp_path / "file" / "demo")
