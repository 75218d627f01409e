"""A driven traverse for ``trimbench trim traverse``; columns by options or by a station file."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from pydantic import ValidationError

from daq.errors import InputError
from daq.station import Station, load_station
from daq.station_ground import Positions
from daq.station_receiver_log import ReceiverLog

if TYPE_CHECKING:
    from procedures.trims.drive_file import DriveRead, Ground
    from procedures.trims.drive_places import Reduced
    from procedures.trims.traverse import Axis, Traverse, TraverseFit

ROWS_A_PLACE: Final = 8
FEWEST_PLACES: Final = 11
MOST_PLACES: Final = 201
STAND_IN_M: Final = 3000.0
"""Distance by which azimuths are counted where none is given; no result in metres depends on it."""

DRIVEN: Final = (
    "receiver's log: rows averaged over short stretches; the delay of smoothing and clocks from "
    "both directions by least squares where both were driven, else as stated, and corrected",
    "alignment and sensitivity widened by what the log's description says of the receiver, and by "
    "the delay's uncertainty times the mean speed",
)
"""What `--explain` adds for a log."""

_CERTAIN: Final = Positions.model_validate({"u": "0 m", "common_u": "0 m"})
_LISTS: Final = frozenset({"flag_ok", "no_value"})


@dataclass(frozen=True, slots=True)
class LogOptions:
    """What was given besides the file.

    Attributes
    ----------
    log
        Keys of the table ``receiver_log``, as ``KEY=VALUE``.
    station
        A station file whose ``[course.positions.receiver_log]`` says it.
    track
        NMEA 0183 text of the same drive.
    """

    log: Sequence[str] = ()
    station: Path | None = None
    track: Path | None = None

    @property
    def given(self) -> bool:
        """Whether the file is a receiver's log."""
        return bool(self.log or self.station or self.track)


@dataclass(frozen=True, slots=True)
class DrivenFit:
    """A fitted drive."""

    fit: TraverseFit
    read: DriveRead
    reduced: Reduced
    metres_known: bool

    def data(self) -> dict[str, object]:
        """Return what a program reads."""
        delay = self.reduced.delay
        return {
            "files": [{"name": file.name, "sha256": file.sha256} for file in self.read.files],
            "rows": len(self.read.drive.rows),
            "rows_not_usable": sum(not row.usable for row in self.read.drive.rows),
            "gaps": [
                {"from_s": gap.from_s, "to_s": gap.to_s, "why": gap.why} for gap in self.read.gaps
            ],
            "passes": delay.passes,
            "delay_s": delay.delay_s,
            "delay_u_s": delay.delay_u_s,
            "delay_estimated": delay.estimated,
            "hysteresis_m": delay.hysteresis_m if self.metres_known else None,
            "warnings": list(delay.warnings),
        }

    def lines(self) -> list[tuple[str, str]]:
        """Return what a technician reads."""
        delay = self.reduced.delay
        how = "by both directions" if delay.estimated else "as stated"
        said = (
            f"values {1e3 * delay.delay_s:.0f} ms late, uncertainty {1e3 * delay.delay_u_s:.0f} ms"
        )
        if self.metres_known and delay.estimated:
            said += f"; {abs(delay.hysteresis_m):.2f} m between the directions"
        return [
            *(("file", str(file)) for file in self.read.files),
            ("delay", f"{said} ({how}); corrected, {delay.passes} passes"),
            *(
                ("gap", f"{gap.from_s:.1f} to {gap.to_s:.1f} s: {gap.why}")
                for gap in self.read.gaps
            ),
            *(("warning", text) for text in delay.warnings),
        ]


def fit_drive(file: Path, options: LogOptions, distance_m: float | None) -> DrivenFit:
    """Fit a traverse from a receiver's log.

    Raises
    ------
    InputError
        The options contradict each other, a file cannot be used, or it is no traverse.
    """
    from procedures.trims.drive_delay import StatedDelay
    from procedures.trims.drive_file import read_drive
    from procedures.trims.drive_places import around_places, reduce_drive
    from procedures.trims.traverse import fit_traverse

    station = None if options.station is None else load_station(options.station)
    layout = _layout(options, station)
    course = None if station is None else station.course
    if course is not None and distance_m is None:
        distance_m = course.along_m
    positions = _CERTAIN if course is None else course.positions
    ground = _ground(station, distance_m)
    read = read_drive(file, layout, ground, track=options.track)
    reduced = reduce_drive(
        read.drive,
        around_places(_middles_deg(read)),
        StatedDelay.of(layout),
        u_place_m=positions.u_m,
    )
    axis: Axis = "angle_deg" if layout.axis == "angle_deg" else "offset_m"
    traverse = _traverse(reduced, axis, positions.u_m)
    fit = fit_traverse(traverse, distance_m=distance_m)
    common_m = math.hypot(reduced.u_common_place_m, positions.common_u_m)
    common = common_m if axis == "offset_m" else math.degrees(common_m / ground.distance_m)
    # One error of the receiver for all its readings does not shrink with their number.
    zero = layout.u_ddm / abs(fit.sensitivity)
    fit = replace(
        fit,
        alignment_u=math.hypot(fit.alignment_u, common, zero),
        sensitivity_u=math.hypot(fit.sensitivity_u, layout.u_part * fit.sensitivity),
    )
    known = axis == "offset_m" or distance_m is not None
    return DrivenFit(fit, read, reduced, known)


def _layout(options: LogOptions, station: Station | None) -> ReceiverLog:
    if station is None:
        return layout_of(options.log)
    if options.log:
        raise InputError("The columns come from --station or from --log, not from both.")
    layout = None if station.course is None else station.course.positions.receiver_log
    if layout is None:
        raise InputError(
            f"{station.path.name} has no table [course.positions.receiver_log].",
            hint="describe the log there, or give --log KEY=VALUE for its columns.",
        )
    return layout


def layout_of(given: Sequence[str]) -> ReceiverLog:
    """Return how a log is written, from ``KEY=VALUE`` with the keys of ``receiver_log``.

    Raises
    ------
    InputError
        A key is unknown, missing or given twice, or a value is none.
    """
    table: dict[str, object] = {"u": 0.0}
    for item in given:
        key, sign, value = item.partition("=")
        if not sign or (key in table and key != "u"):
            raise InputError(
                f"--log {item!r}: KEY=VALUE was expected, each key once.",
                hint="such as --log ddm_unit=uA --log positive=90 --log offset='Offset m'.",
            )
        table[key] = _value(key, value)
    try:
        return ReceiverLog.model_validate(table)
    except ValidationError as error:
        first = error.errors()[0]
        key = ".".join(str(part) for part in first["loc"])
        said = first["msg"].removeprefix("Value error, ")
        raise InputError(
            f"--log{' ' + key if key else ''}: {said}.",
            hint="ddm_unit and positive have to be stated; the keys are those of receiver_log.",
        ) from error


def _value(key: str, text: str) -> object:
    if key in _LISTS:
        return text.split("|")
    return int(text) if key == "positive" and text.isdecimal() else text


def _ground(station: Station | None, distance_m: float | None) -> Ground:
    from procedures.trims.drive_file import ANY_FIX, Ground, antenna_of

    site = None if station is None else station.site
    course = None if station is None else station.course
    return Ground(
        STAND_IN_M if distance_m is None else distance_m,
        antenna=antenna_of(site),
        fixes=ANY_FIX if course is None else course.positions.fixes,
    )


def _middles_deg(read: DriveRead) -> list[float]:
    """Return places that are evenly apart over the whole drive, with some rows for each."""
    azimuth = read.drive.placed(0.0).azimuth_deg
    known = azimuth[np.isfinite(azimuth) & np.isfinite(read.drive.ddm)]
    if len(known) < FEWEST_PLACES:
        raise InputError(f"Only {len(known)} rows of the log have a value and a place.")
    count = min(max(len(known) // ROWS_A_PLACE, FEWEST_PLACES), MOST_PLACES)
    return [float(x) for x in np.linspace(np.min(known), np.max(known), count)]


def _traverse(reduced: Reduced, axis: Axis, u_place_m: float) -> Traverse:
    from procedures.trims.course_line import FINEST_DDM
    from procedures.trims.traverse import Traverse

    places = list(reduced.places.values())
    if axis == "angle_deg":
        position = [place.azimuth_deg for place in places]
        u_place = [math.degrees(u_place_m / place.at.along_m) for place in places]
    else:
        position = [place.at.lateral_m for place in places]
        u_place = [u_place_m for _ in places]
    u_ddm = [math.hypot(place.u_scatter, place.u_smoothing, FINEST_DDM) for place in places]
    ddm = [place.ddm for place in places]
    return Traverse(axis, np.array(position), np.array(ddm), np.array(u_ddm), np.array(u_place))
