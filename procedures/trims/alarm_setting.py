"""At what reading each alarm has to come at the latest, by standard and station."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import Refused
from daq.station import Station
from daq.station_equipment import AlarmEntry
from procedures.judge import Limit
from procedures.limit_tables import LimitRow, find_limit, limits_for
from procedures.trims.alarm import alarm_points, course_shift_alarm

NOMINAL_SENSITIVITY_PER_M = 0.00145
"""DDM/m at the threshold; Annex 10 Vol I, Attachment C, Figure C-9."""
EDGE_DDM = 0.155


@dataclass(frozen=True, slots=True)
class AlarmSetting:
    """One alarm's computed setting.

    Attributes
    ----------
    value
        In the point's SI unit; for power a part of the normal reading.
    relative
        `value` is a part of the normal reading.
    source, status
        Where it comes from, and how sure that is.
    words
        How it was computed.
    """

    value: float
    relative: bool
    source: str
    status: str
    words: str

    def at(self, normal: float) -> float:
        """Return the reading at which the alarm has to come, given the normal one."""
        return self.value * normal if self.relative else self.value

    def limit(self, normal: float, name: str) -> Limit:
        """Return the limit of the alarm's actual point: no farther from normal than computed."""
        falling = self.value < (1.0 if self.relative else normal)
        low, high = (self.value, None) if falling else (None, self.value)
        return Limit(low, high, "1", f"{name}: alarm at the latest", self.source, self.status)


def alarm_setting(station: Station, entry: AlarmEntry) -> AlarmSetting:
    """Return the setting of an alarm that has one; the ident's has none.

    Raises
    ------
    Refused
        The point has no target where one is needed, or nothing says where the alarm has to come.
    """
    match entry.kind:
        case "course shift":
            return _course_shift(station, entry)
        case "wide" | "narrow":
            return _width(station, entry)
        case "clearance":
            return _clearance(station, entry)
        case "power":
            return _power(station, entry)
        case _:
            return _stated(entry)


def sensitivity_per_m(station: Station) -> float:
    """Return the displacement sensitivity at the threshold to which the width is tailored."""
    if station.course is None:
        return NOMINAL_SENSITIVITY_PER_M
    return EDGE_DDM / station.course.half_width_m


def _course_shift(station: Station, entry: AlarmEntry) -> AlarmSetting:
    row = _row(station, "alarm_course_shift_m")
    by_ddm = [
        other.high
        for other in limits_for("localizer", station.station.category, overrides=station.limits)
        if other.key == "alarm_course_shift_ddm"
    ]
    alarm = course_shift_alarm(
        row.high or 0.0, sensitivity_per_m(station), limit_ddm=by_ddm[0] if by_ddm else None
    )
    sign = 1.0 if entry.side == 150 else -1.0
    words = f"{row.high:g} m at the threshold, decided by {alarm.decided_by}"
    return _by_row(row, sign * alarm.alarm_ddm, words)


def _width(station: Station, entry: AlarmEntry) -> AlarmSetting:
    convention = station.conventions
    nominal = _target(station, entry)
    alarm = alarm_points(nominal, convention.alarm_percent, convention.alarm_basis)
    value = alarm.wide_ddm if entry.kind == "wide" else alarm.narrow_ddm
    words = f"{convention.alarm_percent:g} % of {convention.alarm_basis}"
    return _by_row(_row(station, "alarm_sensitivity_change"), value, words)


def _clearance(station: Station, entry: AlarmEntry) -> AlarmSetting:
    sign = 1.0 if _target(station, entry) > 0.0 else -1.0
    if entry.setting is not None:
        return _stated(entry, sign)
    row = _row(station, "alarm_clearance", recommended=True)
    return _by_row(row, sign * (row.low or 0.0), "least clearance at the monitor")


def _power(station: Station, entry: AlarmEntry) -> AlarmSetting:
    dual = station.station.carriers == 2
    row = _row(station, "alarm_power_dual" if dual else "alarm_power_single")
    setting = _by_row(row, entry.setting or row.low or 0.0, "part of normal power", relative=True)
    if entry.setting is not None:
        return AlarmSetting(entry.setting, True, "station file", "station file", setting.words)
    return setting


def _stated(entry: AlarmEntry, sign: float = 1.0) -> AlarmSetting:
    if entry.setting is None:
        raise Refused(
            f"Nothing says where the alarm '{entry.name}' has to come.",
            hint="give it `setting` in the station file.",
        )
    return AlarmSetting(sign * entry.setting, False, "station file", "station file", "as stated")


def _by_row(row: LimitRow, value: float, words: str, *, relative: bool = False) -> AlarmSetting:
    limit = row.limit()
    return AlarmSetting(value, relative, limit.source, limit.status, words)


def _row(station: Station, key: str, *, recommended: bool = False) -> LimitRow:
    category = station.station.category
    if not recommended:
        return find_limit("localizer", category, key, overrides=station.limits)
    rows = limits_for("localizer", category, overrides=station.limits)
    return next(row for row in rows if row.key == key)


def _target(station: Station, entry: AlarmEntry) -> float:
    target = station.point(entry.point).target
    if not target:
        raise Refused(f"The point '{entry.point}' has no target that is not zero.")
    return target
