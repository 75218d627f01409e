"""The simulated bench as strangers see it: clients that share no line of code with this project."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import pytest

from sim_instruments.bench import ServedBench, SimulatedBench
from sim_instruments.clock import ScaledClock

POINT = "course width detector"


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[[Mapping[str, str]], ServedBench]]:
    """Serve models at resources, twenty times as fast as life; closed afterwards."""
    open_benches: list[ServedBench] = []

    def make(where: Mapping[str, str]) -> ServedBench:
        bench = SimulatedBench({}, ScaledClock(20), receiver="course width")
        bench.hands.do("connect probe", {"channel": 5, "point": POINT})
        try:
            served = bench.serve(list(where.items()), folder=tmp_path)
        except PermissionError:
            pytest.skip(
                "NOT TESTED: a port mapper needs port 111, which only root may bind; run as root, "
                "under `unshare -rn`, or set net.ipv4.ip_unprivileged_port_start=111"
            )
        open_benches.append(served)
        return served

    yield make
    for served in open_benches:
        served.close()


@pytest.fixture
def program() -> Callable[[str, str], str]:
    """Return the path of a program, or skip and say which Debian package has it."""

    def find(name: str, package: str) -> str:
        path = shutil.which(name)
        if path is None:
            pytest.skip(f"NOT TESTED: no program {name!r}; install Debian's {package}")
        return path

    return find
