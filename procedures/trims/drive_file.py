"""Read a driven traverse: the receiver's own log, and perhaps a track of positions beside it."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import Final

import numpy as np

from daq.errors import InputError
from daq.nmea_track import NmeaTrack, parse_track
from daq.position import Fix
from daq.receiver_log import LogRows, parse_receiver_log
from daq.station_ground import Site
from daq.station_receiver_log import ReceiverLog
from procedures.trims.drive import Drive, Track, require_overlap, whole_days_apart
from procedures.trims.line_fit import Floats
from procedures.trims.place import Antenna, Offset, offset_of

ANY_FIX: Final = tuple(fix for fix in Fix if fix.measured)


def antenna_of(site: Site | None) -> Antenna | None:
    """Return the antenna of a station's table ``[site]``."""
    if site is None:
        return None
    return Antenna(site.latitude_deg, site.longitude_deg, site.course_deg)


@dataclass(frozen=True, slots=True)
class Ground:
    """What turns a position of a log into a place before the antenna.

    Attributes
    ----------
    distance_m
        From the antenna to the line of the traverse, or the radius of the circle.
    on_circle
        The traverse is a circle.
    antenna
        Where it is on earth; None where latitude and longitude cannot be used.
    fixes
        Kinds of fix that are accepted in a track.
    """

    distance_m: float
    on_circle: bool = False
    antenna: Antenna | None = None
    fixes: tuple[Fix, ...] = ANY_FIX

    def place(self, axis: str, position: tuple[float, ...], name: str) -> Offset:
        """Return the place that a position of the log means.

        Raises
        ------
        InputError
            It is metres on a circle, or latitude and longitude without the site.
        """
        if axis == "offset_m" and not self.on_circle:
            return Offset(self.distance_m, position[0])
        if axis == "offset_m":
            raise InputError(
                f"{name}: the log holds metres; the wide traverse lies on a circle.",
                hint="have positions stored as degrees, or as latitude and longitude.",
            )
        if axis == "angle_deg":
            angle = np.radians(position[0])
            along = self.distance_m * float(np.cos(angle) if self.on_circle else 1.0)
            return Offset(along, along * float(np.tan(angle)))
        if self.antenna is None:
            raise InputError(
                f"{name}: latitude and longitude are no offset from the course line without the "
                "table [site] of a station file.",
                hint="give latitude, longitude and course there.",
            )
        return offset_of(self.antenna, *position)


@dataclass(frozen=True, slots=True)
class File:
    """A file that was read: its name, and the SHA-256 of its bytes, hex."""

    name: str
    sha256: str

    def __str__(self) -> str:
        return f"{self.name} (SHA-256 {self.sha256})"

    @property
    def short(self) -> str:
        """The name and the beginning of the digest, for a column of a table."""
        return f"{self.name} (SHA-256 {self.sha256[:8]}…)"


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch of time in which nothing is known, s after the first row, and why."""

    from_s: float
    to_s: float
    why: str


@dataclass(frozen=True, slots=True)
class DriveRead:
    """A drive, the files it came from, and where it has gaps.

    Attributes
    ----------
    files
        The log, and the track where there is one.
    dated
        The rows' times are seconds since 1970 UTC.
    fixes_left_out
        Position sentences that were disturbed, without a fix, or of a kind that is not accepted.
    """

    drive: Drive
    files: tuple[File, ...]
    dated: bool
    gaps: tuple[Gap, ...]
    fixes_left_out: int = 0


def read_drive(
    log: Path, layout: ReceiverLog, ground: Ground, *, track: Path | None = None
) -> DriveRead:
    """Read a receiver's log, and its track where the log has no positions of its own.

    Raises
    ------
    InputError
        A file cannot be read or used; says file, line, column and what was expected.
    """
    text, log_file = _text(log)
    rows = parse_receiver_log(text, layout, name=log.name)
    if (track is None) == (rows.axis == ""):
        raise InputError(
            f"{log.name}: positions come from columns of the log or from a track, one of them.",
            hint="name the log's columns in receiver_log, or give the track.",
        )
    time_s = np.array([row.time_s for row in rows.rows])
    dated = rows.dated
    ddm = np.array([row.ddm if row.usable else np.nan for row in rows.rows])
    if track is None:
        files: tuple[File, ...] = (log_file,)
        left_out, where = 0, _own_track(rows, layout, ground)
    else:
        text, track_file = _text(track)
        nmea = parse_track(text, name=track.name)
        kept = [fix for fix in nmea.fixes if fix.fix in ground.fixes]
        left_out = nmea.left_out + len(nmea.fixes) - len(kept)
        files = (log_file, track_file)
        where = _nmea_track(nmea, ground, layout)
        if not (rows.dated and nmea.dated):
            time_s = time_s - whole_days_apart(time_s, where.time_s)
        if nmea.dated and not rows.dated:
            dated, rows = True, _dated(rows, time_s)
    drive = Drive(rows.rows, time_s, ddm, where)
    require_overlap(drive, log.name)
    return DriveRead(drive, files, dated, _gaps(drive, layout.longest_gap_s), left_out)


def _text(path: Path) -> tuple[str, File]:
    try:
        data = path.read_bytes()
        text = data.decode("utf-8-sig")
    except OSError as error:
        raise InputError(f"{path}: this file cannot be read: {error.strerror}.") from error
    except UnicodeDecodeError as error:
        raise InputError(f"{path}: this is no text file.") from error
    return text, File(path.name, hashlib.sha256(data).hexdigest())


def _dated(rows: LogRows, time_s: Floats) -> LogRows:
    """Return rows whose times have been given the date of the track."""
    pairs = zip(rows.rows, time_s, strict=True)
    moved = tuple(replace(row, time_s=float(at_s)) for row, at_s in pairs)
    return replace(rows, rows=moved, dated=True)


def _own_track(rows: LogRows, layout: ReceiverLog, ground: Ground) -> Track:
    """Return the track of the log's own columns.

    Positions are often stored slower than values, and repeated until the next one comes: only the
    first of those is where the receiver was at its time.
    """
    times: list[float] = []
    places: list[Offset] = []
    last: tuple[float, ...] = ()
    for row in rows.rows:
        known = bool(np.all(np.isfinite(row.position)))
        rested = not times or row.time_s - times[-1] >= layout.longest_gap_s / 2.0
        if known and (row.position != last or rested):
            times.append(row.time_s)
            places.append(ground.place(rows.axis, row.position, rows.name))
            last = row.position
    return _track(times, places, layout, rows.name)


def _nmea_track(nmea: NmeaTrack, ground: Ground, layout: ReceiverLog) -> Track:
    kept = [fix for fix in nmea.fixes if fix.fix in ground.fixes]
    places = [ground.place("", (fix.latitude_deg, fix.longitude_deg), nmea.name) for fix in kept]
    kinds = ", ".join(sorted({str(fix.fix) for fix in nmea.fixes}))
    name = f"{nmea.name} (fixes in it: {kinds}; accepted: {', '.join(ground.fixes)})"
    return _track([fix.time_s for fix in kept], places, layout, name)


def _track(
    times: Sequence[float], places: Sequence[Offset], layout: ReceiverLog, name: str
) -> Track:
    if len(times) < 2:
        raise InputError(f"{name}: {len(times)} positions that may be used are no track.")
    return Track(
        np.array(times),
        np.array([place.along_m for place in places]),
        np.array([place.lateral_m for place in places]),
        layout.longest_gap_s,
    )


def _gaps(drive: Drive, longest_s: float) -> tuple[Gap, ...]:
    """Return the stretches without a value or without a place, in the order of time."""
    start_s = float(drive.time_s[0])
    last_s = float(drive.time_s[-1])
    found = [
        Gap(at_s - start_s, next_s - start_s, "the receiver stored nothing")
        for at_s, next_s in _wide(drive.time_s, longest_s)
    ]
    found += [
        Gap(max(at_s, start_s) - start_s, min(next_s, last_s) - start_s, "no position")
        for at_s, next_s in _wide(drive.track.time_s, longest_s)
        if next_s > start_s and at_s < last_s
    ]
    numbered = zip(drive.time_s, drive.rows, strict=True)
    for quality, group in groupby(numbered, key=lambda each: each[1].quality):
        times: list[float] = [float(at_s) - start_s for at_s, _ in group]
        if quality != "ok":
            found.append(Gap(times[0], times[-1], str(quality)))
    return tuple(sorted(found, key=lambda gap: (gap.from_s, gap.to_s)))


def _wide(time_s: Floats, longest_s: float) -> list[tuple[float, float]]:
    at = np.flatnonzero(np.diff(time_s) > longest_s)
    return [(float(time_s[i]), float(time_s[i + 1])) for i in at]
