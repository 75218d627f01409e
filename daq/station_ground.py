"""Tables of a station file for the work before the antennas: places, traverses, clearance, cables.

Places are seen from the middle of the antenna array. `along` runs over the threshold out to the
approach, `lateral` to the right of an approaching aircraft, where 150 Hz predominates.
"""

from __future__ import annotations

import math
from typing import Literal, Self

from pydantic import Field, model_validator

from daq.position import Fix
from daq.station_receiver_log import ReceiverLog
from daq.station_table import AngleDeg, Ddm, LengthM, Ratio, Table
from daq.toml_faults import check_differ

PositionSource = Literal["typed", "file", "position receiver"]


class FieldPlace(Table):
    """A place before the array: ``along`` and ``lateral``, or ``radius`` and ``azimuth``.

    Azimuth is counted from the course line, positive on the 150 Hz side.
    """

    along_m: LengthM | None = Field(default=None, alias="along", gt=0)
    lateral_m: LengthM | None = Field(default=None, alias="lateral")
    radius_m: LengthM | None = Field(default=None, alias="radius", gt=0)
    azimuth_deg: AngleDeg | None = Field(default=None, alias="azimuth", ge=-90, le=90)

    @model_validator(mode="after")
    def _one_way_to_say_it(self) -> Self:
        across = self.along_m is not None and self.lateral_m is not None
        round_about = self.radius_m is not None and self.azimuth_deg is not None
        given = (self.along_m, self.lateral_m, self.radius_m, self.azimuth_deg)
        if across == round_about or sum(value is not None for value in given) != 2:
            raise ValueError("a place is along and lateral, or radius and azimuth, and no mixture")
        return self

    @property
    def offset_m(self) -> tuple[float, float]:
        """How far along the course line and to its side the place is, m."""
        if self.along_m is not None and self.lateral_m is not None:
            return self.along_m, self.lateral_m
        if self.radius_m is not None and self.azimuth_deg is not None:
            azimuth = math.radians(self.azimuth_deg)
            return self.radius_m * math.cos(azimuth), self.radius_m * math.sin(azimuth)
        raise ValueError("this is no place")

    @property
    def arguments(self) -> dict[str, str | float]:
        """The place as arguments of an `Action`, in the way in which it was said."""
        return {name: value for name, value in self.model_dump().items() if value is not None}

    @property
    def in_words(self) -> str:
        """The place as it is said to whoever goes there."""
        if self.along_m is not None and self.lateral_m is not None:
            return f"{self.along_m:g} m out, {_side(self.lateral_m, 'm', 2)}"
        if self.radius_m is not None and self.azimuth_deg is not None:
            return f"{self.radius_m:g} m out, {_side(self.azimuth_deg, '°', 2)}"
        raise ValueError("this is no place")

    @classmethod
    def at_offset(cls, along_m: float, lateral_m: float) -> Self:
        """Return a place by its distances, m."""
        return cls.model_construct(along_m=along_m, lateral_m=lateral_m)

    @classmethod
    def at_azimuth(cls, radius_m: float, azimuth_deg: float) -> Self:
        """Return a place by distance, m, and azimuth, degrees."""
        return cls.model_construct(radius_m=radius_m, azimuth_deg=azimuth_deg)


def _side(value: float, unit: str, decimals: int) -> str:
    shown = f"{abs(value):.{decimals}f}{'' if unit == '°' else ' '}{unit}"
    if value == 0.0:
        return "on the centreline"
    return f"{shown} to the {'150' if value > 0 else '90'} Hz side"


class Site(Table):
    """Table ``[site]``: where the antenna is on earth, and which way the course line runs.

    Attributes
    ----------
    latitude_deg, longitude_deg
        Of the middle of the array, WGS-84, north and east positive.
    course_deg
        True direction of an aircraft that lands on the course line, degrees.
    """

    latitude_deg: AngleDeg = Field(alias="latitude", ge=-80, le=80)
    longitude_deg: AngleDeg = Field(alias="longitude", ge=-180, le=180)
    course_deg: AngleDeg = Field(alias="course", ge=0, lt=360)


class NearField(Table):
    """What a traverse in the near field shows that the far field does not have.

    A value of the far field is what was measured over `sensitivity_factor`, and less
    `alignment_shift`. Both come from one comparison, made when the station was new.
    """

    sensitivity_factor: float = Field(default=1.0, gt=0.5, lt=2)
    sensitivity_factor_u: float = Field(default=0.0, ge=0, lt=0.5)
    alignment_shift_deg: AngleDeg = Field(default=0.0, alias="alignment_shift")
    alignment_shift_u_deg: AngleDeg = Field(default=0.0, alias="alignment_shift_u", ge=0)


class Positions(Table):
    """How it is known where the receiver stands.

    Attributes
    ----------
    source
        ``typed`` at each place, planned in a ``file`` of marks (CSV, as for a traverse, beside
        the station file), or by a ``position receiver`` carried along.
    file, instrument
        The file, and the position receiver's alias.
    fixes
        Kinds of fix that are accepted of a position receiver.
    u_m
        Standard uncertainty of one position across the course line, independent of the others.
    common_u_m
        The part that all positions of one traverse have in common, such as the survey of the
        centreline, or the wandering error of a position receiver without corrections.
    receiver_log
        How the receiver writes a log of its own while it is driven; where this is given, each
        traverse is walked, or taken from such a log that the technician names.
    """

    source: PositionSource = "typed"
    file: str = ""
    instrument: str = ""
    receiver_log: ReceiverLog | None = None
    fixes: tuple[Fix, ...] = (Fix.RTK_FIXED,)
    u_m: LengthM = Field(default=0.05, alias="u", ge=0)
    common_u_m: LengthM = Field(default=0.05, alias="common_u", ge=0)

    @model_validator(mode="after")
    def _source_is_named(self) -> Self:
        if self.source == "file" and not self.file:
            raise ValueError("positions from a file need `file`")
        if self.source == "position receiver" and not self.instrument:
            raise ValueError("positions by a position receiver need `instrument`, its alias")
        return self


class Course(Table):
    """Table ``[course]``: the traverse across the course line and how width and line are set.

    Attributes
    ----------
    point
        A point without a place of its own: the receiver that is carried.
    along_m
        From the antenna to the line of the traverse.
    reach_ddm, places
        How far to each side, as nominal DDM, and how many places.
    half_width_m
        From the course line to 0.155 DDM at the threshold: what the width is tailored to.
    width_point, width_control, alignment_point, alignment_control
        Where each is watched live, and with what it is set.
    sensitivity_band, alignment_band_m
        Accepted distance after an adjustment: from nominal as a ratio, from the centreline at
        the threshold.
    live_band
        Accepted distance from the target while the control is turned, DDM.
    symmetry, linearity
        Limits of the station: the left half's share less one half, and the greatest distance of
        a reading from the line.
    """

    point: str
    along_m: LengthM = Field(alias="along", gt=0)
    reach_ddm: Ddm = Field(default=0.15, alias="reach", gt=0, le=0.18)
    places: int = Field(default=11, ge=5, le=101)
    positions: Positions = Positions()
    half_width_m: LengthM = Field(default=105.0, alias="half_width", gt=0)
    near_field: NearField = NearField()
    width_point: str
    width_control: str
    alignment_point: str = ""
    alignment_control: str = ""
    sensitivity_band: Ratio = Field(default=0.02, gt=0, lt=0.17)
    alignment_band_m: LengthM = Field(default=1.0, alias="alignment_band", gt=0)
    live_band: Ddm = Field(default=0.001, gt=0)
    symmetry: Ratio = Field(default=0.05, gt=0, lt=0.5)
    linearity: Ddm = Field(default=0.008, gt=0)
    max_rounds: int = Field(default=4, ge=1, le=20)


class Clearance(Table):
    """Table ``[clearance]``: the wide traverse.

    Attributes
    ----------
    point
        As in `Course`.
    radius_m
        Of the circle on which the places lie.
    inner_step_deg, outer_step_deg, reach_deg
        From place to place within 10 degrees and beyond, and how far to each side.
    finest_step_deg
        From place to place around a lowest point that is near its limit.
    capture_point
        A point of quantity ``rf_level`` without a place of its own, read with one carrier switched
        off at a time; empty where that is not done.
    capture_azimuths_deg
        Where; the one nearest the course line stands for the course sector.
    """

    point: str
    radius_m: LengthM = Field(alias="radius", gt=0)
    inner_step_deg: AngleDeg = Field(default=1.0, alias="inner_step", gt=0, le=5)
    outer_step_deg: AngleDeg = Field(default=2.5, alias="outer_step", gt=0, le=10)
    finest_step_deg: AngleDeg = Field(default=0.3, alias="finest_step", gt=0, le=5)
    reach_deg: AngleDeg = Field(default=35.0, alias="reach", gt=10, le=90)
    positions: Positions = Positions()
    capture_point: str = ""
    capture_azimuths_deg: tuple[AngleDeg, ...] = Field(
        default=(-6.0, -3.0, 0.0, 3.0, 6.0), alias="capture_azimuths", min_length=1
    )


class CableEntry(Table):
    """One cable of a set.

    Attributes
    ----------
    name
        What its label says.
    physical_m
        Length by the tape measure; gives the velocity factor.
    spare_m
        How much may be cut off at most.
    """

    name: str = Field(min_length=1, pattern=r"^[^/\\]+$", description="a name without slashes")
    physical_m: LengthM | None = Field(default=None, alias="length", gt=0)
    spare_m: LengthM = Field(default=0.5, alias="spare", ge=0)


class CableSet(Table):
    """One ``[cable_sets.NAME]``: cables that have to be of one electrical length.

    Attributes
    ----------
    far_end
        What each cable ends in while it is swept from one end.
    matched_deg
        Accepted difference from the shortest after cutting, degrees at the carrier.
    analyser_u_deg
        Standard uncertainty of the analyser's phase.
    vswr_u, insulation_u
        Standard uncertainty of what is typed: absolute, and as a part of the value.
    """

    cables: tuple[CableEntry, ...] = Field(min_length=2)
    far_end: Literal["open", "short"] = "open"
    velocity_factor: float | None = Field(default=None, gt=0.3, le=1.0)
    matched_deg: AngleDeg = Field(default=2.0, alias="matched", gt=0, lt=90)
    allowance_m: LengthM = Field(default=0.0, alias="allowance", ge=0)
    analyser_u_deg: AngleDeg = Field(default=0.5, alias="analyser_u", ge=0)
    vswr_u: float = Field(default=0.01, ge=0)
    insulation_u: Ratio = Field(default=0.05, ge=0, lt=1)
    max_rounds: int = Field(default=4, ge=1, le=20)

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [cable.name for cable in self.cables]
        check_differ("The cable", names, lambda number: ("cables", number, "name"))
        if self.velocity_factor is None:
            unknown = [cable.name for cable in self.cables if cable.physical_m is None]
            if unknown:
                raise ValueError(
                    f"cable '{unknown[0]}' needs its length, or the set a velocity_factor"
                )
        return self

    def cable(self, name: str) -> CableEntry:
        """Return a cable by its name, which has to be one of the set's."""
        return next(cable for cable in self.cables if cable.name == name)
