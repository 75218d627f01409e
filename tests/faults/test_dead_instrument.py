"""An instrument that stays dead under the simulated technician: the run stops, and can go on."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from sim_instruments.link_faults import Silence
from sim_instruments.operator import GIVES_UP_AT
from tests.faults.stand import settled, threads_and_descriptors
from tests.support.clocks import within
from tests.support.commands import CommandLine
from tests.support.plants import STATION
from tests.support.served import Served, served_bench

ASKED = {"halvorsund-nr2": "DDM", "fernmark-os4": "MEAS"}


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Served]:
    with served_bench(tmp_path, speed=100.0) as made:
        text = made.station.read_text(encoding="utf-8")
        for model in ASKED:
            profile = files("drivers") / "profiles" / f"{model}.toml"
            words = profile.read_text(encoding="utf-8")
            for limit_s in ("1.0", "2.0"):
                words = words.replace(f"timeout_s = {limit_s}", "timeout_s = 0.3")
            (tmp_path / f"{model}.toml").write_text(words, encoding="utf-8")
            text = text.replace(f'profile = "{model}"', f'profile = "{model}.toml"')
        made.station.write_text(text, encoding="utf-8")
        yield made


def test_the_run_ends_with_the_instruments_own_error_after_three_tries(served, capsys):
    trimbench = CommandLine(capsys)
    before = threads_and_descriptors()
    for model, asked in ASKED.items():
        served.links.panels[model].arm(Silence(), count=0, matching=asked)
    with within(20):
        said = trimbench(
            "run", "monitor-baseline", "--station", served.station, "--operator", "sim", "--json"
        )
    assert said.code == 3
    assert said.error["kind"] == "LinkTimeout"
    assert said.error["instrument"].startswith(("receiver (ASRL", "scope (TCPIP"))
    with LogReader(served.station.with_name("tarnholt-16.tblog")) as reader:
        events = [row.body for row in reader.entries(run=1, kind=Kind.EVENT)]
        assert reader.run(1).ended is None
        assert reader.verify().rows > 0
    happened = [event["event"] for event in events]
    assert happened.count("gap") == GIVES_UP_AT
    assert happened.count("tried again") == GIVES_UP_AT - 1
    assert happened[-1] == "interrupted"
    left = settled(before)
    assert left[0] <= before[0]
    assert left[1] <= before[1]


@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # pyvisa-py's
@pytest.mark.parametrize(
    "form",
    [
        "TCPIP::127.0.0.1::{port}::SOCKET",
        "TCPIP::127.0.0.1,{port}::inst0::INSTR",
        "TCPIP::127.0.0.1::hislip0,{port}::INSTR",
        "ASRL./nobody.tty::INSTR",
    ],
)
def test_one_that_is_not_there_is_a_sentence_on_every_link(form, tmp_path, capsys):
    """Libraries log their own tracebacks: none may reach the technician."""
    with socket.create_server(("127.0.0.1", 0)) as gone:
        resource = form.format(port=gone.getsockname()[1])
    text = STATION.read_text(encoding="utf-8")
    assert "ASRL./receiver.tty::INSTR" in text
    path = tmp_path / "station.toml"
    path.write_text(text.replace("ASRL./receiver.tty::INSTR", resource), encoding="utf-8")
    before = threads_and_descriptors()
    said = CommandLine(capsys)(
        "watch", "ddm", "--point", "course width", "--station", path, "--seconds", 1
    )
    assert said.code == 3
    said.is_a_short_message()
    assert "receiver" in said.err
    assert resource in said.err
    assert "Try: " in said.err
    left = settled(before)
    assert left[0] <= before[0]
    assert left[1] <= before[1]
