"""A position on earth, as a position receiver tells it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import StrEnum
from typing import Self


class Fix(StrEnum):
    """What kind of fix a position rests on; the receiver's own word for how good it is."""

    NONE = "no fix"
    SINGLE = "single"
    DIFFERENTIAL = "differential"
    PRECISE = "precise"
    RTK_FIXED = "rtk fixed"
    RTK_FLOAT = "rtk float"
    ESTIMATED = "estimated"
    MANUAL = "typed into the receiver"
    SIMULATED = "simulated by the receiver"

    @property
    def measured(self) -> bool:
        """Whether satellites were measured for it just now."""
        return self not in (Fix.NONE, Fix.ESTIMATED, Fix.MANUAL, Fix.SIMULATED)


@dataclass(frozen=True, slots=True)
class Position:
    """One position.

    Attributes
    ----------
    latitude_deg, longitude_deg
        WGS-84, degrees, north and east positive.
    time_of_day_s
        When it was measured, by the receiver: seconds since midnight UTC.
    fix
        What it rests on.
    satellites, dilution
        How many, and the horizontal dilution of precision.
    source
        Alias of the receiver.
    utc_ns, mono_ns
        Calendar and monotonic time of the computer when it arrived, ns.
    raw
        The sentence.
    """

    latitude_deg: float
    longitude_deg: float
    time_of_day_s: float
    fix: Fix
    satellites: int
    dilution: float
    source: str = ""
    utc_ns: int = 0
    mono_ns: int = 0
    raw: str = ""

    def to_body(self) -> dict[str, object]:
        """Return the JSON object that the journal keeps."""
        return {**asdict(self), "fix": str(self.fix)}

    @classmethod
    def from_body(cls, body: Mapping[str, object]) -> Self:
        """Return the position that `to_body` wrote."""
        return cls(
            latitude_deg=float(str(body["latitude_deg"])),
            longitude_deg=float(str(body["longitude_deg"])),
            time_of_day_s=float(str(body["time_of_day_s"])),
            fix=Fix(str(body["fix"])),
            satellites=int(str(body["satellites"])),
            dilution=float(str(body["dilution"])),
            source=str(body["source"]),
            utc_ns=int(str(body["utc_ns"])),
            mono_ns=int(str(body["mono_ns"])),
            raw=str(body["raw"]),
        )
