"""A driver's reading beside a bare pyvisa query and a raw socket, on one simulated instrument.

The three are interleaved round by round in one run, and the median of the rounds is taken, so that
other work on the machine falls on all of them. A reading of ours is more than a query: checked for
strays, timed, with quality and uncertainty. Nothing here asserts on a clock.
"""

from __future__ import annotations

import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import pyvisa
from pytest_benchmark.fixture import BenchmarkFixture

from daq.clock import SystemClock
from drivers.profiled import Place, ProfiledInstrument
from tests.drivers.profiles import tiny_profile

ROUNDS = 9
VPP = """
[quantity.vpp]
query = "MEAS?"
unit = "V"
accuracy = [{percent = 1.0, coverage = "k=2"}]
"""

Query = Callable[[], float]


@contextmanager
def raw_socket(port: int, folder: Path) -> Iterator[Query]:
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        with connection.makefile("rb") as answers:

            def query() -> float:
                connection.sendall(b"MEAS?\n")
                return float(answers.readline())

            yield query


@contextmanager
def bare_pyvisa(port: int, folder: Path) -> Iterator[Query]:
    session = pyvisa.ResourceManager("@py").open_resource(f"TCPIP::127.0.0.1::{port}::SOCKET")
    assert isinstance(session, pyvisa.resources.MessageBasedResource)
    session.read_termination = session.write_termination = "\n"
    try:
        yield lambda: float(session.query("MEAS?"))
    finally:
        session.close()


@contextmanager
def driver(port: int, folder: Path) -> Iterator[Query]:
    where = Place("scope", f"TCPIP::127.0.0.1::{port}::SOCKET", SystemClock(), folder)
    instrument = ProfiledInstrument(tiny_profile(folder, VPP, kind="oscilloscope"), where)
    try:
        yield lambda: instrument.measure("vpp").value
    finally:
        instrument.close()


WAYS = {"raw socket": raw_socket, "bare pyvisa": bare_pyvisa, "driver": driver}


@pytest.fixture
def instrument(request: pytest.FixtureRequest) -> Iterator[int]:
    """The port of an instrument that takes `param` seconds for an answer."""
    command = [sys.executable, str(Path(__file__).with_name("answerer.py")), str(request.param)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        yield int(process.stdout.readline())
        process.kill()


def microseconds(query: Query, count: int) -> tuple[float, float]:
    """Return wall and CPU time of one query, us."""
    for _ in range(min(count, 50)):
        query()
    wall, cpu = time.perf_counter(), time.process_time()
    for _ in range(count):
        query()
    return (
        (time.perf_counter() - wall) / count * 1e6,
        (time.process_time() - cpu) / count * 1e6,
    )


@pytest.mark.parametrize(
    ("instrument", "count"), [(0.0, 1000), (0.005, 40)], indirect=["instrument"]
)
def test_a_reading_beside_a_bare_query(
    instrument: int, count: int, tmp_path: Path, benchmark: BenchmarkFixture, request
) -> None:
    takes_ms = 1e3 * request.node.callspec.params["instrument"]
    rounds: dict[str, list[tuple[float, float]]] = {name: [] for name in WAYS}
    for _ in range(ROUNDS if benchmark.enabled else 1):
        for name, way in WAYS.items():
            with way(instrument, tmp_path) as query:
                assert query() == 1.5031
                rounds[name].append(microseconds(query, count if benchmark.enabled else 2))
    middle = {
        name: [statistics.median(column) for column in zip(*found, strict=True)]
        for name, found in rounds.items()
    }
    bare_us, bare_cpu_us = middle["bare pyvisa"]
    lines = [f"\ninstrument that takes {takes_ms:g} ms, median of {ROUNDS} rounds of {count}"]
    for name, (wall_us, cpu_us) in middle.items():
        lines.append(
            f"{name:<12} {wall_us:8.1f} us a reading {1e6 / wall_us:8.0f} /s"
            f"   {wall_us / bare_us:5.2f} of bare pyvisa"
            f"   {cpu_us:6.1f} us CPU ({cpu_us - bare_cpu_us:+.1f})"
        )
    print("\n".join(lines))
    with driver(instrument, tmp_path) as query:
        benchmark(query)
