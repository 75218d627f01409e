"""Every profile of an invented model reads the simulated instrument it was written for.

Profile and simulator were both written from the programming manual, never from each other.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from daq.clock import ManualClock, SystemClock
from daq.errors import IdentityError
from daq.reading import Quality, Reading
from daq.roles import Instrument
from drivers.registry import find_profile, open_instrument, shipped_profiles
from sim_instruments.bench import ANOTHER_WAY, MODELS, SimulatedBench

SOCKET = "TCPIP::127.0.0.1::0::SOCKET"
SERIAL = "ASRL./line.tty::INSTR"
CSB = "course CSB"


@pytest.fixture
def read(tmp_path: Path, clock) -> Iterator[object]:
    """Open an instrument on the bench and read a quantity, connected or not."""
    opened: list[Instrument] = []
    benches = []

    def start(model: str, resource: str, quantity: str, *, connected: bool = True) -> Reading:
        bench = SimulatedBench(
            {"seed": 16},
            ManualClock(),
            receiver="course width" if connected else "",
            probes={5: "course width detector"} if connected else {},
        )
        if connected:
            for meter in ("power meter", "counter", "analyzer"):
                bench.connections.connect_meter(meter, CSB)
        benches.append(bench.serve([(model, resource)], folder=tmp_path, hands_port=None))
        kind = find_profile(model, tmp_path).instrument.instrument_class
        at = benches[-1].resources[resource]
        opened.append(open_instrument("it", kind, model, at, clock=SystemClock(), base=tmp_path))
        return opened[-1].measure(quantity)

    yield start
    for one in opened:
        one.close()
    for bench in benches:
        bench.close()


@pytest.mark.parametrize(
    ("model", "resource", "quantity", "low", "high"),
    [
        ("brunnhall-pw2", SOCKET, "power", 1.0, 100.0),
        ("vesterlo-fc6", SOCKET, "frequency", 109.3e6, 109.4e6),
        ("torvstad-dm6", SOCKET, "voltage", 0.1, 2.0),
        ("torvstad-dm6-firmware-1", SOCKET, "voltage", 0.1, 2.0),
        ("ostrel-sa4", SOCKET, "frequency", 109.354735e6, 109.354765e6),
        ("ostrel-sa4", SOCKET, "rf_level", -100.0, 60.0),
        ("velmark-dr20", SERIAL, "ddm", 0.10, 0.20),
        ("dunholt-pr3", SERIAL, "ddm", 0.10, 0.20),
        ("dunholt-pr3", SERIAL, "sdm", 0.35, 0.45),
    ],
)
def test_a_profile_reads_its_model(read, model, resource, quantity, low, high):
    reading = read(model, resource, quantity)
    assert reading.quality is Quality.OK, reading
    assert low < reading.value < high
    assert reading.u > 0


@pytest.mark.parametrize(
    ("model", "resource", "quantity"),
    [
        ("brunnhall-pw2", SOCKET, "power"),
        ("vesterlo-fc6", SOCKET, "frequency"),
        ("torvstad-dm6", SOCKET, "voltage"),
        ("ostrel-sa4", SOCKET, "frequency"),
        ("ostrel-sa4", SOCKET, "rf_level"),
        ("velmark-dr20", SERIAL, "ddm"),
        ("dunholt-pr3", SERIAL, "ddm"),
    ],
)
def test_with_nothing_connected_there_is_a_reading_without_a_value(read, model, resource, quantity):
    reading = read(model, resource, quantity, connected=False)
    assert reading.quality is Quality.NO_VALUE
    assert math.isnan(reading.value)


def test_every_profile_of_a_model_has_an_instrument_that_can_be_served():
    """The others are generic: they are of no model, and so there is none to simulate."""
    generic = {"ua-receiver", "percent-receiver", "streaming-receiver", "nmea-0183"}
    models = {name for name in shipped_profiles() if not name.startswith("scpi-")} - generic
    assert models == {*MODELS, *ANOTHER_WAY}


def test_a_firmware_that_is_not_honest_about_opc_is_told_by_its_identity(read):
    with pytest.raises(IdentityError, match="not the instrument that the profile is for"):
        read_as(read, "torvstad-dm6-firmware-1", "torvstad-dm6")


def read_as(read, served: str, profile: str) -> None:
    bench = SimulatedBench({"seed": 16}, ManualClock())
    with bench.serve([(served, SOCKET)], hands_port=None) as links:
        kind = find_profile(profile, Path()).instrument.instrument_class
        open_instrument(
            "it", kind, profile, links.resources[SOCKET], clock=SystemClock(), base=Path()
        )


def test_a_receiver_that_only_talks_is_heard_with_and_without_a_signal(tmp_path):
    """It speaks by the plant's clock, so this bench runs on the machine's own."""
    bench = SimulatedBench({"seed": 16}, receiver="course width")
    with bench.serve([("skarvoy-lr1", SERIAL)], folder=tmp_path, hands_port=None):
        profile = find_profile("skarvoy-lr1", tmp_path)
        receiver = open_instrument(
            "it",
            profile.instrument.instrument_class,
            "skarvoy-lr1",
            SERIAL,
            clock=SystemClock(),
            base=tmp_path,
        )
        heard = receiver.measure("ddm")
        bench.connections.connect_receiver("")
        receiver.measure("rf_level")
        silent = receiver.measure("ddm")
        receiver.close()
    assert 0.1 < heard.value < 0.2
    assert silent.quality is Quality.NO_VALUE
