"""Hands that drive: what they write, where, and what they refuse."""

from __future__ import annotations

import csv
import json
import math
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench
from sim_instruments.hands import HandsError
from sim_instruments.hands_link import HandsSession

LINE = {"along_m": 3120.0, "from_m": -20.0, "to_m": 20.0}
SOON = {**LINE, "speed_m_s": 20.0}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "station"
    made.mkdir()
    return made


@pytest.fixture
def bench(clock: ManualClock, folder: Path) -> SimulatedBench:
    made = SimulatedBench({"receiver_noise_ddm": 0.0}, clock)
    made.hands.cables.folder = folder
    return made


def rows(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_log_and_track_are_beside_the_station_file_and_their_names_come_back(
    bench: SimulatedBench, folder: Path
) -> None:
    said = bench.hands.do("drive receiver", {**SOON, "file": "as found.csv"})
    assert (said["text"], said["track"]) == ("as found.csv", "as found.nmea")
    assert sorted(path.name for path in folder.iterdir()) == ["as found.csv", "as found.nmea"]
    assert list(rows(folder / "as found.csv")[0]) == [
        "UTC", "Deviation uA", "Sum %", "Level dBm", "State",
    ]  # fmt: skip
    track = (folder / "as found.nmea").read_text(encoding="ascii")
    assert track.startswith("$GPGGA,")
    assert bench.hands.do("name track", {"file": "as found.csv"}) == {"text": "as found.nmea"}


def test_over_the_link_only_names_go(bench: SimulatedBench, folder: Path) -> None:
    line = "drive receiver along_m=3120 from_m=-20 to_m=20 speed_m_s=20"
    said = json.loads(HandsSession(bench.hands).feed(line.encode() + b"\n"))
    # There and back over 40 m at 20 m/s, and three rests of 2 s.
    assert said == {"ok": True, "text": "drive-1.csv", "track": "drive-1.nmea", "duration_s": 10.0}
    assert (folder / "drive-1.csv").is_file()


def test_the_drive_has_just_ended(bench: SimulatedBench, folder: Path, clock: ManualClock) -> None:
    bench.hands.do("drive receiver", SOON)
    now = datetime.fromtimestamp(clock.utc_ns() / 1e9, tz=UTC)
    times = [datetime.fromisoformat(row["UTC"]) for row in rows(folder / "drive-1.csv")]
    assert (now - times[-1]).total_seconds() == pytest.approx(0.0, abs=0.11)
    assert (times[-1] - times[0]).total_seconds() == pytest.approx(10.0, abs=0.41)


def test_one_way_on_a_circle_without_smoothing(bench: SimulatedBench, folder: Path) -> None:
    """2000 m round the array over 4 degrees, from the 90 to the 150 Hz side."""
    asked = {"radius_m": 2000, "from_deg": -2, "to_deg": 2, "passes": 1, "speed_m_s": 20}
    said = bench.hands.do("drive receiver", {**asked, "smoothing_s": 0, "file": "circle.csv"})
    assert said["duration_s"] == pytest.approx(2000 * math.radians(4) / 20 + 4.0, abs=0.06)
    shown = [float(row["Deviation uA"]) for row in rows(folder / "circle.csv")]
    # Positive where 90 Hz predominates: the DL-4's own way.
    assert shown[0] > 100.0
    assert shown[-1] < -100.0
    assert all(later <= before + 0.02 for before, later in pairwise(shown))


def test_a_repeated_act_drives_once_and_another_takes_a_free_name(
    bench: SimulatedBench, folder: Path
) -> None:
    first = bench.hands.do("drive receiver", SOON, "run 1/log 1")
    assert bench.hands.do("drive receiver", SOON, "run 1/log 1") == first
    (folder / "drive-2.nmea").touch()
    assert bench.hands.do("drive receiver", SOON, "run 1/log 2")["text"] == "drive-3.csv"
    assert (folder / "drive-2.nmea").read_bytes() == b""


def test_no_file_is_written_over_or_through(bench: SimulatedBench, folder: Path) -> None:
    (folder / "mine.csv").write_text("mine", encoding="utf-8")
    outside = folder.parent / "outside.csv"
    (folder / "link.csv").symlink_to(outside)
    for name in ("mine.csv", "link.csv"):
        with pytest.raises(HandsError, match="there is a file of the name"):
            bench.hands.do("drive receiver", {**SOON, "file": name})
    assert (folder / "mine.csv").read_text(encoding="utf-8") == "mine"
    assert not outside.exists()


@pytest.mark.parametrize(
    "name",
    ["../out.csv", "/out.csv", "a/b.csv", "a\\b.csv", ".csv", ".hidden.csv", "tarnholt-16.toml",
     "a.tblog", "a\n.csv", "a\0.csv", "x" * 70 + ".csv", "Ä.csv", "a..csv"],
)  # fmt: skip
def test_a_name_that_is_not_safe_is_refused_and_nothing_is_written(
    bench: SimulatedBench, folder: Path, name: str
) -> None:
    with pytest.raises(HandsError, match=r"a log is called by letters"):
        bench.hands.do("drive receiver", {**SOON, "file": name})
    with pytest.raises(HandsError, match=r"a log is called by letters"):
        bench.hands.do("name track", {"file": name})
    assert list(folder.parent.rglob("*")) == [folder]


@pytest.mark.parametrize(
    ("given", "match"),
    [
        ({}, "what is driven along is along_m, from_m and to_m, or radius_m, from_deg and to_deg"),
        ({**LINE, "radius_m": 2000}, "what is driven along is"),
        ({"along_m": 3120, "from_m": 0}, "what is driven along is"),
        ({**LINE, "to_m": "far"}, "'to_m' is to be a number, not 'far'"),
        ({**LINE, "to_m": 10**400}, "'to_m' is to be a number"),
        ({**LINE, "to_m": -20.0}, "ends where it begins"),
        ({**LINE, "to_m": 30_000}, "farther out than 20 km"),
        ({**LINE, "speed_m_s": 0}, "'speed_m_s' is 0.5 to 40, not 0"),
        ({**LINE, "smoothing_s": -1}, "'smoothing_s' is 0 to 10"),
        ({**LINE, "passes": 1.5}, "'passes' is to be a whole number"),
        ({**LINE, "passes": 9}, "'passes' is 1 to 8"),
        ({**LINE, "to_m": 10_000, "speed_m_s": 1}, "the receiver's memory lasts 900 s"),
        ({"along_m": 0, "from_m": -20, "to_m": 20}, "not driven in among the elements"),
        ({"radius_m": 2000, "from_deg": -120, "to_deg": 20}, "azimuths of a circle"),
    ],
)
def test_what_cannot_be_driven_is_said(
    bench: SimulatedBench, folder: Path, given: dict[str, str | float], match: str
) -> None:
    with pytest.raises(HandsError, match=match):
        bench.hands.do("drive receiver", given)
    assert list(folder.iterdir()) == []


def test_a_folder_that_is_gone_is_said(bench: SimulatedBench, folder: Path) -> None:
    folder.rmdir()
    with pytest.raises(HandsError, match=r"drive-1\.csv cannot be written: No such file"):
        bench.hands.do("drive receiver", SOON)
