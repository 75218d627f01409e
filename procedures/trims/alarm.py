"""Alarm points: width by both conventions, course shift, power.

Two conventions are in use for the 17 per cent of a width alarm and give different numbers: of the
displacement sensitivity (ICAO; the angular width follows inversely, Annex 10 Attachment C 2.9.2)
or of the width. The station file says which.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from daq.errors import InputError
from daq.reading import IMPOSSIBLE_DDM

AlarmBasis = Literal["sensitivity", "width"]


@dataclass(frozen=True, slots=True)
class AlarmPoints:
    """DDM at the width point when the alarm is due, and the SBO change that makes it.

    Attributes
    ----------
    wide_ddm, narrow_ddm
        Same sign as the nominal DDM.
    wide_db, narrow_db
        Change of the SBO level from nominal; wide is negative, narrow positive.
    """

    wide_ddm: float
    narrow_ddm: float
    wide_db: float
    narrow_db: float


@dataclass(frozen=True, slots=True)
class CourseShiftAlarm:
    """DDM on the course line when the course-shift alarm is due.

    Attributes
    ----------
    alarm_ddm
        Magnitude, the stricter of the two below.
    from_distance_ddm
        The category's lateral distance times the displacement sensitivity.
    limit_ddm
        The category's DDM limit; None where it has none.
    decided_by
        ``distance`` or ``ddm``.
    """

    alarm_ddm: float
    from_distance_ddm: float
    limit_ddm: float | None
    decided_by: Literal["distance", "ddm"]


def alarm_points(nominal_ddm: float, percent: float, basis: AlarmBasis) -> AlarmPoints:
    """Return the wide and narrow alarm points.

    Parameters
    ----------
    nominal_ddm
        DDM at the width point when all is well, such as 0.155.
    percent
        Change at which the alarm is due, such as 17.
    basis
        What the per cent are taken of.

    Raises
    ------
    InputError
        The nominal value is zero or beyond what two tones can make, the per cent are not in
        (0, 100), or the basis is unknown.
    """
    if not math.isfinite(nominal_ddm) or nominal_ddm == 0.0:
        raise InputError(f"The nominal DDM is {nominal_ddm:g}; it has to be a number but zero.")
    if abs(nominal_ddm) > IMPOSSIBLE_DDM:
        raise InputError(
            f"The nominal DDM is {nominal_ddm:g}. Beyond {IMPOSSIBLE_DDM} a tone's depth has "
            "folded, and no receiver shows it.",
            hint="give the DDM at the width point, such as 0.155.",
        )
    if not 0.0 < percent < 100.0:
        raise InputError(f"The change is above 0 and below 100 per cent, not {percent:g}.")
    part = percent / 100.0
    match basis:
        case "sensitivity":
            wide, narrow = 1.0 - part, 1.0 + part
        case "width":
            wide, narrow = 1.0 / (1.0 + part), 1.0 / (1.0 - part)
        case _:
            raise InputError(f"The basis is sensitivity or width, not {basis!r}.")
    return AlarmPoints(
        wide_ddm=nominal_ddm * wide,
        narrow_ddm=nominal_ddm * narrow,
        wide_db=20.0 * math.log10(wide),
        narrow_db=20.0 * math.log10(narrow),
    )


def course_shift_alarm(
    distance_m: float, sensitivity_per_m: float, *, limit_ddm: float | None = None
) -> CourseShiftAlarm:
    """Return the DDM at which a shifted course has to raise the alarm.

    Parameters
    ----------
    distance_m
        Lateral distance at the threshold that the category allows, m.
    sensitivity_per_m
        Displacement sensitivity at the threshold, DDM/m.
    limit_ddm
        The category's own DDM limit, if it has one.

    Raises
    ------
    InputError
        A value is not positive.
    """
    for name, value in (("distance", distance_m), ("displacement sensitivity", sensitivity_per_m)):
        if not (math.isfinite(value) and value > 0.0):
            raise InputError(f"The {name} has to be positive, not {value:g}.")
    if limit_ddm is not None and not (math.isfinite(limit_ddm) and limit_ddm > 0.0):
        raise InputError(f"The DDM limit has to be positive, not {limit_ddm:g}.")
    from_distance = distance_m * sensitivity_per_m
    by_ddm = limit_ddm is not None and limit_ddm < from_distance
    return CourseShiftAlarm(
        alarm_ddm=min(from_distance, math.inf if limit_ddm is None else limit_ddm),
        from_distance_ddm=from_distance,
        limit_ddm=limit_ddm,
        decided_by="ddm" if by_ddm else "distance",
    )


def power_alarm_db(percent_of_normal: float) -> float:
    """Return a power given in per cent of normal as a change in dB: 80 -> -0.97, 50 -> -3.01.

    Raises
    ------
    InputError
        The per cent are not above 0 and at most 100.
    """
    if not 0.0 < percent_of_normal <= 100.0:
        raise InputError(
            f"The power at the alarm is above 0 and at most 100 per cent of normal, not "
            f"{percent_of_normal:g}."
        )
    return 10.0 * math.log10(percent_of_normal / 100.0)
