"""How a station's receiver writes the log that it makes while it is driven along a traverse.

A logger has columns of its own making. Which of them is what, in which unit, and which tone counts
positive is said once, in ``[course.positions.receiver_log]`` or ``[clearance.positions.
receiver_log]``; `daq.receiver_log` reads the file by it.
"""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from daq.frozen import NoiseFloor
from daq.station_equipment import TimeS
from daq.station_table import Ddm, Ratio, Table

LogAxis = Literal["offset_m", "angle_deg", "latitude and longitude", ""]
"""How a log tells its own position; empty where it does not."""


class ReceiverLog(Table):
    """Table ``receiver_log``: the columns of a receiver's own log, and what is known of its time.

    Attributes
    ----------
    receiver
        Alias of the ``[[instruments]]`` entry that makes the log, a navigation receiver; empty
        where there is none, and then nobody looks at its calibration.
    separator
        Between cells; with ``;`` and ``tab`` numbers may have a decimal comma.
    time, time_unit
        Column, and ``utc`` (ISO 8601 with its date, or a time of day such as ``09:41:07.4``) or
        ``s``: seconds, which count from midnight UTC where a separate track is joined.
    ddm, ddm_unit, positive
        Column, its unit, and the tone that predominates where its numbers are positive.
    sdm, sdm_unit, level
        Columns of the sum of depths and of the input level in dBm; empty where there are none.
    flag, flag_ok
        Column in which the receiver says whether it trusts a row, and what it says when it does.
    no_value
        What stands in a cell that has no value.
    offset, angle, latitude, longitude
        Columns of the position: metres or degrees to the 150 Hz side, or WGS-84 degrees; none of
        them where the position comes from a track of its own.
    lag_s, lag_u_s
        How long the receiver's smoothing delays its values, and the standard uncertainty of that.
        Where nothing is stated a second is allowed for (common practice, no source).
    clock_offset_s, clock_offset_u_s
        By how much the log's clock is ahead of that of its positions.
    longest_gap_s
        Between two positions that are farther apart in time nothing is known.
    u_ddm, u_part
        Standard uncertainty of the receiver by its specification, the same error in all its
        readings: an absolute part, and a part of the reading.
    noise_ddm, resolution_ddm, update_s
        Least standard deviation of what is new in a stored value (after the receiver's smoothing),
        the step of its last digit, and the time between fresh values. By them a value that stands
        still is found and left out (`daq.frozen_rows`); without the first two it cannot be.
    """

    receiver: str = ""
    separator: Literal[",", ";", "tab"] = ","
    time: str = Field(default="time", min_length=1)
    time_unit: Literal["utc", "s"] = "utc"
    ddm: str = Field(default="ddm", min_length=1)
    ddm_unit: Literal["ratio", "%", "uA"]
    positive: Literal[90, 150]
    sdm: str = ""
    sdm_unit: Literal["ratio", "%"] = "%"
    level: str = ""
    flag: str = ""
    flag_ok: tuple[str, ...] = ("OK",)
    no_value: tuple[str, ...] = ("", "----")
    offset: str = ""
    angle: str = ""
    latitude: str = ""
    longitude: str = ""
    lag_s: TimeS = Field(default=0.0, alias="lag", ge=0, le=60)
    lag_u_s: TimeS = Field(default=1.0, alias="lag_u", ge=0)
    clock_offset_s: TimeS = Field(default=0.0, alias="clock_offset")
    clock_offset_u_s: TimeS = Field(default=0.0, alias="clock_offset_u", ge=0)
    longest_gap_s: TimeS = Field(default=2.0, alias="longest_gap", gt=0)
    u_ddm: Ddm = Field(alias="u", ge=0)
    u_part: Ratio = Field(default=0.0, ge=0, lt=1)
    noise_ddm: Ddm | None = Field(default=None, alias="noise", gt=0)
    resolution_ddm: Ddm | None = Field(default=None, alias="resolution", gt=0)
    update_s: TimeS = Field(default=0.0, alias="update", ge=0, le=600)

    @model_validator(mode="after")
    def _one_position(self) -> Self:
        if bool(self.latitude) != bool(self.longitude):
            raise ValueError("a position is latitude and longitude, not one of them")
        if sum(map(bool, (self.offset, self.angle, self.latitude))) > 1:
            raise ValueError("a position is an offset, an angle, or latitude and longitude")
        named = self.columns
        twice = sorted({name for name in named if named.count(name) > 1})
        if twice:
            raise ValueError(f"the column '{twice[0]}' is named for two things")
        return self

    @model_validator(mode="after")
    def _noise_is_whole(self) -> Self:
        if (self.noise_ddm is None) != (self.resolution_ddm is None):
            raise ValueError("noise and resolution are given both, or neither")
        return self

    @property
    def floor(self) -> NoiseFloor | None:
        """The noise of stored values, DDM; None where it is not known."""
        if self.noise_ddm is None or self.resolution_ddm is None:
            return None
        return NoiseFloor(self.noise_ddm, self.resolution_ddm, self.update_s)

    @property
    def axis(self) -> LogAxis:
        """How the log tells its own position."""
        if self.offset:
            return "offset_m"
        if self.angle:
            return "angle_deg"
        return "latitude and longitude" if self.latitude else ""

    @property
    def place_columns(self) -> tuple[str, ...]:
        """The columns of the position."""
        four = (self.offset, self.angle, self.latitude, self.longitude)
        return tuple(name for name in four if name)

    @property
    def columns(self) -> tuple[str, ...]:
        """Every column that is named, and so has to be there."""
        others = (self.time, self.ddm, self.sdm, self.level, self.flag)
        return tuple(name for name in others if name) + self.place_columns
