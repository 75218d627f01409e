"""A driven course over real links: a simulated technician drives, the run is killed and resumed."""

from __future__ import annotations

import csv
import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pytest
from pypdf import PdfReader

from daq.log.entry import Kind
from daq.log.reader import LogReader
from tests.support.driving import positions
from tests.support.ground import true_course
from tests.support.served import Served, served_bench

ROOT: Final = Path(__file__).parents[2]
OUT: Final = {"phase_error_deg": 0.0, "tx1": {"course": {"sbo_level_db": -1.2}}}
"""The width is out, so the course is driven as found and again after it was set."""
NOMINAL_PER_M: Final = 0.155 / 106.9
SIM: Final = ("--operator", "sim")


def trimbench(served: Served, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "procedures.cli", *words, "--station", str(served.station)],
        cwd=ROOT, text=True, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT, env={**os.environ, "PYTHONUNBUFFERED": "1", "COLUMNS": "200"},
    )  # fmt: skip


def killed_when_it_says(process: subprocess.Popen[str], words: str) -> None:
    """Kill a run as soon as it has printed some words."""
    assert process.stdout is not None
    said = ""
    with process, process.stdout as lines:
        for line in lines:
            said += line
            if words in line:
                process.kill()
                break
    assert process.returncode == -signal.SIGKILL, said


def ended(process: subprocess.Popen[str]) -> str:
    said, _ = process.communicate(timeout=100)
    assert process.returncode == 0, said
    return said


def has_drives(folder: Path, count: int) -> bool:
    """Whether so many logs and tracks are there, and no more."""
    names = {f"drive-{n}.{end}" for n in range(1, count + 1) for end in ("csv", "nmea")}
    return {path.name for path in folder.glob("drive-*")} == names


def requests(served: Served) -> Mapping[str, Mapping[str, Any]]:
    """What run 1 journalled, by key; each once, in a log whose chain holds."""
    with LogReader(served.station.with_suffix(".tblog")) as reader:
        reader.verify()
        entries = list(reader.entries(run=1, kind=Kind.OUTCOME))
    assert max(Counter(entry.key for entry in entries).values()) == 1
    return {entry.key: entry.body["request"] for entry in entries}  # type: ignore[misc]  # objects


@pytest.mark.timeout(120)
def test_a_course_is_driven_killed_resumed_and_right(tmp_path: Path) -> None:
    with served_bench(tmp_path, plant=OUT) as served:
        text = served.station.read_text(encoding="utf-8")
        more = 'receiver = "receiver"'
        for before, after in positions("course", u="0.05 m", more=more).items():
            text = text.replace(before, after)
        served.station.write_text(text, encoding="utf-8")
        before_it = true_course(served.sim.plant)
        killed_when_it_says(trimbench(served, "run", "course", *SIM), ": drive-1.nmea")
        assert has_drives(tmp_path, 1)
        killed_when_it_says(trimbench(served, "resume", "1", *SIM), ": drive-2.csv")
        said = ended(trimbench(served, "resume", "1", *SIM))
        after_it = true_course(served.sim.plant)
        found = requests(served)
        rounds = sum(key.endswith("/line") for key in found)
    assert "as found" not in said
    assert rounds >= 2
    # The answer that the second kill cut off may be asked again; nobody drives again for it.
    assert has_drives(tmp_path, rounds)
    for key, truth in (("course/as found", before_it), (f"course/round {rounds - 1}", after_it)):
        line = found[f"{key}/line"]
        off_m = line["alignment_m"] - truth.alignment
        assert abs(off_m) < 2.0 * line["alignment_u_m"]
        assert off_m == pytest.approx(0.0, abs=0.3)
        assert line["sensitivity_per_metre"] == pytest.approx(truth.sensitivity, rel=0.005)
    assert after_it.sensitivity == pytest.approx(NOMINAL_PER_M, rel=0.025)
    check_record(tmp_path)


def check_record(folder: Path) -> None:
    """The record says what made the log and which tone is positive in it; the rows are exported."""
    pages = PdfReader(folder / "tarnholt-16-run-0001.pdf").pages
    printed = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "log of receiver: HALVORSUND NR-2 serial 20417, calibration due 2027-02-03" in printed
    assert "positive where 90 Hz predominates, as the station file declares" in printed
    text = (folder / "tarnholt-16-run-0001.csv").read_text(encoding="utf-8-sig")
    exported = [row for row in csv.DictReader(text.splitlines()) if "drive-1.csv" in row["source"]]
    assert len(exported) > 100
    assert {row["point"] for row in exported} == {"course traverse"}
    assert all(row["raw"].startswith("drive-1.csv:") for row in exported)
