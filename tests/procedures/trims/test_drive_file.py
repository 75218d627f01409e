"""Files of a drive: joined by time, positions of each kind, gaps, and what is refused."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from daq.errors import InputError
from daq.nmea import checksum
from daq.position import Fix
from daq.station_ground import Site
from daq.station_receiver_log import ReceiverLog
from procedures.trims.drive_file import DriveRead, Ground, antenna_of, read_drive
from procedures.trims.place import Antenna

NOON_S = datetime(2026, 11, 25, 12, tzinfo=UTC).timestamp()
ANTENNA = Antenna(57.25, 4.5, 160.0)


def layout(**more: object) -> ReceiverLog:
    return ReceiverLog.model_validate({"ddm_unit": "ratio", "positive": 150, "u": 0, **more})


def log(folder: Path, text: str, name: str = "log.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def offsets(folder: Path, cells: list[str], **more: object) -> DriveRead:
    """One row a second from noon; cells are ``ddm,x``."""
    rows = [f"2026-11-25T12:00:{second:02d}Z,{cell}" for second, cell in enumerate(cells)]
    text = "\n".join(["time,ddm,x,f", *rows])
    return read_drive(log(folder, text), layout(offset="x", **more), Ground(3120.0))


def nmea(folder: Path, seconds: list[float], *, dated: bool = True, quality: int = 4) -> Path:
    """Fixes that go north a ten thousandth of a minute a second: 0.19 m."""
    lines = []
    for second in seconds:
        clock = f"1200{second:05.2f}"
        where = f"{5714 + second / 10_000:010.5f},N,00430.00000,E"
        bodies = [f"GPGGA,{clock},{where},{quality},09,0.9,31.0,M,40.0,M,,"]
        if dated:
            bodies.append(f"GPRMC,{clock},A,{where},0.0,,251126,,,R")
        lines += [f"${body}*{checksum(body):02X}" for body in bodies]
    return log(folder, "\n".join(lines), "track.nmea")


def test_metres_lie_on_the_line_of_the_traverse(tmp_path: Path) -> None:
    read = offsets(tmp_path, ["0.1,-5,", "0.2,5,", "0.3,15,"])
    assert read.drive.track.lateral_m.tolist() == [-5.0, 5.0, 15.0]
    assert read.drive.track.along_m.tolist() == [3120.0] * 3
    assert read.dated
    assert read.drive.rows[1].time_s == NOON_S + 1.0


def test_the_files_are_known_by_name_and_digest(tmp_path: Path) -> None:
    (file,) = offsets(tmp_path, ["0.1,-5,", "0.2,5,"]).files
    digest = hashlib.sha256((tmp_path / "log.csv").read_bytes()).hexdigest()
    assert str(file) == f"log.csv (SHA-256 {digest})"


@pytest.mark.parametrize("on_circle", [True, False])
def test_degrees_lie_on_the_line_or_on_the_circle(tmp_path: Path, on_circle: bool) -> None:
    path = log(tmp_path, "time,ddm,a\n09:00:00,0.1,-30\n09:00:01,0.2,30\n")
    read = read_drive(path, layout(angle="a"), Ground(2000.0, on_circle))
    track = read.drive.track
    assert np.degrees(np.arctan2(track.lateral_m, track.along_m)) == pytest.approx([-30.0, 30.0])
    radius = np.hypot(track.along_m, track.lateral_m)
    expected = 2000.0 if on_circle else 2000.0 / np.cos(np.radians(30.0))
    assert radius == pytest.approx([expected] * 2)


def test_latitude_and_longitude_are_seen_from_the_antenna(tmp_path: Path) -> None:
    """A minute of latitude north is 1856 m (WGS-84 at 57 degrees), against a landing on 160."""
    path = log(tmp_path, "time,ddm,b,l\n09:00:00,0,57.25,4.5\n09:00:01,0,57.266667,4.5\n")
    read = read_drive(path, layout(latitude="b", longitude="l"), Ground(3120.0, antenna=ANTENNA))
    north_m = 1856.2
    assert read.drive.track.along_m[1] == pytest.approx(north_m * np.cos(np.radians(20.0)), abs=0.5)
    assert read.drive.track.lateral_m[1] == pytest.approx(
        -north_m * np.sin(np.radians(160.0)), abs=0.5
    )


def test_a_position_that_is_repeated_is_old_from_the_second_row_on(tmp_path: Path) -> None:
    read = offsets(tmp_path, ["0,0,", "0,0,", "0,10,", "0,10,", "0,20,"], longest_gap="9 s")
    track = read.drive.track
    assert (track.time_s - NOON_S).tolist() == [0.0, 2.0, 4.0]
    _, lateral = track.at(read.drive.time_s)
    assert lateral == pytest.approx([0.0, 5.0, 10.0, 15.0, 20.0])


def test_a_receiver_that_rests_has_a_position_all_the_same(tmp_path: Path) -> None:
    read = offsets(tmp_path, ["0,7,"] * 8, longest_gap="2 s")
    assert np.all(read.drive.track.at(read.drive.time_s)[1] == 7.0)


def test_a_track_is_joined_by_time_and_gives_times_of_day_their_date(tmp_path: Path) -> None:
    path = log(tmp_path, "time,ddm\n12:00:01.5,0.1\n12:00:02,0.2\n12:00:09,0.2\n")
    track = nmea(tmp_path, [1.0, 2.0, 3.0])
    read = read_drive(path, layout(), Ground(3120.0, antenna=ANTENNA), track=track)
    along, _ = read.drive.track.at(read.drive.time_s)
    # A minute south of the antenna and going north: towards it, 0.19 m a second.
    assert along[1] - along[0] == pytest.approx(
        0.5 * 0.1856 * np.cos(np.radians(160)) * -1, abs=0.03
    )
    assert np.isnan(along[2])
    assert read.dated
    assert read.drive.rows[0].time_s == pytest.approx(NOON_S + 1.5)
    assert [file.name for file in read.files] == ["log.csv", "track.nmea"]


def test_a_dated_log_is_joined_with_times_of_day(tmp_path: Path) -> None:
    path = log(tmp_path, "time,ddm\n2026-11-25T12:00:01.5Z,0.1\n2026-11-25T12:00:02Z,0.2\n")
    track = nmea(tmp_path, [1.0, 2.0, 3.0], dated=False)
    read = read_drive(path, layout(), Ground(3120.0, antenna=ANTENNA), track=track)
    assert np.all(np.isfinite(read.drive.track.at(read.drive.time_s)[0]))
    assert read.drive.rows[0].time_s == NOON_S + 1.5


def test_two_dates_that_differ_are_not_joined(tmp_path: Path) -> None:
    path = log(tmp_path, "time,ddm\n2026-11-24T12:00:01.5Z,0.1\n")
    with pytest.raises(InputError, match="made while the position was known"):
        read_drive(
            path, layout(), Ground(3120.0, antenna=ANTENNA), track=nmea(tmp_path, [1.0, 2.0])
        )


def test_fixes_of_another_kind_are_left_out(tmp_path: Path) -> None:
    path = log(tmp_path, "time,ddm\n12:00:01.5,0.1\n")
    ground = Ground(3120.0, antenna=ANTENNA, fixes=(Fix.RTK_FIXED,))
    track = nmea(tmp_path, [1.0, 2.0], quality=1)
    with pytest.raises(
        InputError, match=r"fixes in it: single; accepted: rtk fixed\): 0 positions"
    ):
        read_drive(path, layout(), ground, track=track)


def test_gaps_are_told_with_their_reason(tmp_path: Path) -> None:
    cells = ["0.1,0,OK", "0.1,1,LOW", "0.1,2,LOW", "0.1,,OK", "0.1,,OK", "0.1,,OK", "0.1,6,OK"]
    read = offsets(tmp_path, cells, flag="f", longest_gap="1.5 s")
    assert [(gap.from_s, gap.to_s, gap.why) for gap in read.gaps] == [
        (1.0, 2.0, "flagged by the instrument"),
        (2.0, 6.0, "no position"),
    ]


def test_silence_is_a_gap(tmp_path: Path) -> None:
    path = log(tmp_path, "time,ddm,x\n0,0.1,0\n1,0.1,1\n5,0.1,5\n")
    read = read_drive(path, layout(offset="x", time_unit="s"), Ground(3120.0))
    assert ("the receiver stored nothing", 1.0, 5.0) in {
        (gap.why, gap.from_s, gap.to_s) for gap in read.gaps
    }
    assert not read.dated


@pytest.mark.parametrize(
    ("columns", "on_circle", "track", "match"),
    [
        ({"offset": "x"}, True, False, "the wide traverse lies on a circle"),
        ({"latitude": "x", "longitude": "y"}, False, False, r"without the table \[site\]"),
        ({}, False, False, "from columns of the log or from a track, one of them"),
        ({"offset": "x"}, False, True, "from columns of the log or from a track, one of them"),
    ],
)
def test_positions_that_cannot_be_used_are_refused(
    tmp_path: Path, columns: dict[str, str], on_circle: bool, track: bool, match: str
) -> None:
    path = log(tmp_path, "time,ddm,x,y\n09:00:00,0,1,1\n09:00:01,0,2,2\n")
    given = nmea(tmp_path, [1.0]) if track else None
    with pytest.raises(InputError, match=match):
        read_drive(path, layout(**columns), Ground(3120.0, on_circle), track=given)


def test_a_missing_or_binary_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read: No such file"):
        read_drive(tmp_path / "none.csv", layout(offset="x"), Ground(3120.0))
    binary = tmp_path / "b.csv"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="this is no text file"):
        read_drive(binary, layout(offset="x"), Ground(3120.0))


def test_a_station_without_a_site_has_no_antenna() -> None:
    assert antenna_of(None) is None
    site = Site.model_validate({"latitude": "57.25", "longitude": "4.5", "course": "160"})
    assert antenna_of(site) == ANTENNA
