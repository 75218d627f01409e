"""An instrument that stays dead under the simulated technician: the run stops, and can go on."""

from __future__ import annotations

import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from sim_instruments.link_faults import Silence
from sim_instruments.operator import GIVES_UP_AT
from tests.faults.stand import settled, threads_and_descriptors
from tests.support.commands import CommandLine
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
    began = time.monotonic()
    said = trimbench(
        "run", "monitor-baseline", "--station", served.station, "--operator", "sim", "--json"
    )
    assert said.code == 3
    assert time.monotonic() - began < 20
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
