"""`trimbench instruments`: opened, identified, read once, timed; one that fails hides none."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.station import load_station
from procedures.commands.simulation import with_free_ports
from sim_instruments.bench import SimulatedBench
from tests.support.commands import CommandLine
from tests.support.plants import STATION
from tests.support.served import FastClock, Served, served_bench


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served_bench(tmp_path_factory.mktemp("served")) as bench:
        yield bench


def without_scope(served: Served) -> Path:
    """The same station, nobody listening where its oscilloscope should be."""
    text = served.station.read_text(encoding="utf-8")
    (scope, *_) = served.links.resources
    path = served.station.with_name("dead.toml")
    path.write_text(text.replace(scope, "TCPIP::127.0.0.1::1::SOCKET"), encoding="utf-8")
    return path


def test_each_instrument_is_identified_read_and_timed(
    served: Served, trimbench: CommandLine
) -> None:
    said = trimbench("instruments", "--station", served.station, "--json")
    assert said.code == 0
    scope, receiver, *_ = said.json["instruments"]
    assert (scope["identity"], receiver["identity"]) == ("FERNMARK OS-4", "HALVORSUND NR-2")
    assert (receiver["serial"], receiver["firmware"]) == ("20417", "3.2")
    assert scope["quantity"] == "vpp"
    assert 0.5 < scope["value"] < 2.5
    assert receiver["quantity"] == "ddm"
    for checked in (scope, receiver):
        assert checked["quality"] == "ok"
        assert 0.0 < checked["latency_ms"] < 1000.0
        assert checked["jitter_ms"] >= 0.0
        assert checked["error"] == ""


def test_for_people_it_is_a_few_lines_each(served: Served, trimbench: CommandLine) -> None:
    out = trimbench("instruments", "--station", served.station).out
    assert "scope: oscilloscope at TCPIP::127.0.0.1::" in out
    assert "is       FERNMARK OS-4, serial" in out
    assert "V peak to peak" in out
    assert "predominates (DDM)" in out or "balanced (DDM)" in out
    assert "ms a query" in out


def test_one_that_does_not_answer_is_said_and_the_others_are_still_shown(
    served: Served, trimbench: CommandLine
) -> None:
    said = trimbench("instruments", "--station", without_scope(served), "--json")
    assert said.code == 3
    scope, receiver, *_ = said.json["instruments"]
    assert "Nobody listens on port 1" in scope["error"]
    assert scope["value"] is None
    assert receiver["error"] == ""
    people = trimbench("instruments", "--station", without_scope(served))
    assert people.code == 3
    assert "error    scope" in people.out
    assert "HALVORSUND" in people.out


def test_an_oscilloscope_that_only_takes_samples_is_read_at_their_channel(
    served: Served, trimbench: CommandLine
) -> None:
    """Its points are of quantities that are computed; a channel has to be said all the same."""
    text = served.station.read_text(encoding="utf-8")
    path = served.station.with_name("samples.toml")
    point = 'name = "identification"\nquantity = "'
    assert f'{point}vpp"' in text
    path.write_text(text.replace(f'{point}vpp"', f'{point}ddm"'), encoding="utf-8")
    said = trimbench("instruments", "--station", path, "--json")
    assert (said.code, said.err) == (0, "")
    (scope,) = [i for i in said.json["instruments"] if i["alias"] == "scope for long records"]
    assert (scope["quantity"], scope["error"]) == ("vpp", "")


def test_it_writes_no_log(served: Served, trimbench: CommandLine) -> None:
    trimbench("instruments", "--station", served.station)
    assert not served.station.with_name("tarnholt-16.tblog").exists()


GNSS = """
[[instruments]]
alias = "gnss"
class = "position receiver"
profile = "navelin-gp5"
resource = "ASRL./gnss.tty::INSTR"

# Test points"""


def test_a_position_receiver_is_shown_with_where_it_is(
    tmp_path: Path, trimbench: CommandLine
) -> None:
    """Over a real serial line: NMEA 0183 from a receiver that was carried to the threshold."""
    text = with_free_ports(STATION.read_text(encoding="utf-8"))
    path = tmp_path / "tarnholt-16.toml"
    path.write_text(text.replace("\n# Test points", GNSS, 1), encoding="utf-8")
    station = load_station(path)
    sim = SimulatedBench({}, FastClock(5.0))
    sim.hands.do("carry receiver", {"along_m": 3120.0, "lateral_m": 0.0})
    wanted = [(entry.profile, entry.resource) for entry in station.instruments]
    with sim.serve(wanted, folder=tmp_path):
        said = trimbench("instruments", "--station", path, "--json")
        shown = trimbench("instruments", "--station", path).out
    assert said.code == 0
    (gnss,) = [i for i in said.json["instruments"] if i["alias"] == "gnss"]
    assert (gnss["identity"], gnss["error"]) == ("Navelin GP-5, NMEA 0183", "")
    assert gnss["quality"].startswith("57.276")
    assert gnss["quality"].endswith("(single)")
    assert "reads    position: 57.276" in shown
