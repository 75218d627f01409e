"""A run that is killed loses nothing that was shown, and goes on without asking again."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pytest

from daq.log.entry import Kind
from daq.log.reader import LogReader
from tests.support.served import Served, served_bench

ROOT = Path(__file__).parents[2]


@dataclass
class Trace:
    shown: list[int] = field(default_factory=list)
    answered: Counter[str] = field(default_factory=Counter)
    ended: bool = False

    def add(self, text: bytes) -> None:
        # The last line may be torn by the kill; a torn line was not fully said.
        for line in text.decode().split("\n")[:-1]:
            what, _, rest = line.partition(" ")
            if what == "shown":
                self.shown.append(int(rest))
            elif what == "answered":
                self.answered[rest] += 1
            else:
                self.ended = True


def run_until_killed(served: Served, which: str, after_s: float, trace: Trace) -> None:
    """Begin or resume, kill after so long, and note what was said until then."""
    reading, writing = os.pipe()
    process = subprocess.Popen(
        [
            sys.executable, "-m", "tests.support.killable",
            str(served.station), which, str(writing),
        ],
        cwd=ROOT, pass_fds=(writing,), stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
    )  # fmt: skip
    os.close(writing)
    try:
        process.wait(after_s)
    except subprocess.TimeoutExpired:
        process.kill()
    _, said = process.communicate()
    with os.fdopen(reading, "rb") as pipe:
        trace.add(pipe.read())
    assert process.returncode in (0, -9), said.decode()


def has_begun(log: Path) -> bool:
    if not log.exists() or log.stat().st_size == 0:
        return False
    with LogReader(log) as reader:
        return reader.run_numbers() == [1]


def kill_and_resume(folder: Path, kills: int, seed: int) -> tuple[Trace, int]:
    """Kill one run up to `kills` times at random instants; return what was said, and kills."""
    rng = np.random.default_rng(seed)
    trace, killed = Trace(), 0
    with served_bench(folder) as served:
        log = folder / "tarnholt-16.tblog"
        while not trace.ended:
            which = "1" if has_begun(log) else "begin"
            patience = float(rng.uniform(0.6, 2.2)) if killed < kills else 60.0
            run_until_killed(served, which, patience, trace)
            killed += not trace.ended
            check_log(log, trace)
        truth = served.sim.plant.truth()
        assert len(truth.cuts) == 1
        assert truth.lines_in == []
        assert truth.tones_off == []
    return trace, killed


def check_log(log: Path, trace: Trace) -> None:
    if not has_begun(log):
        assert not trace.shown
        return
    with LogReader(log) as reader:
        reader.verify()
        logged = {entry.mono_ns for entry in reader.entries(kind=Kind.READING)}
        recorded = Counter(entry.key for entry in reader.entries(kind=Kind.OUTCOME))
    assert set(trace.shown) <= logged
    assert max(recorded.values(), default=1) == 1


@pytest.mark.timeout(120)
def test_a_run_killed_three_times_loses_nothing_and_ends_right(tmp_path: Path) -> None:
    trace, killed = kill_and_resume(tmp_path, kills=3, seed=4)
    assert trace.ended
    assert killed >= 2
    # Only the answer that a kill cut off before it was on disk may be asked a second time.
    assert sum(trace.answered.values()) - len(trace.answered) <= killed


@pytest.mark.study
def test_fifty_kills_lose_nothing(tmp_path: Path) -> None:
    total, shown, again = 0, 0, 0
    for seed in range(100):
        folder = tmp_path / str(seed)
        folder.mkdir()
        trace, killed = kill_and_resume(folder, kills=50 - total, seed=seed)
        repeated = sum(trace.answered.values()) - len(trace.answered)
        assert repeated <= killed
        total, shown, again = total + killed, shown + len(trace.shown), again + repeated
        if total >= 50:
            break
    print(
        f"\n{total} SIGKILLs in {seed + 1} runs: {shown} readings shown, all in the log; every "
        f"chain holds; {again} answers cut off before they were on disk were asked again"
    )
    assert total >= 50
