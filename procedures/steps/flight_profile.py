"""One flight-inspection profile: set, verified on the ground, held for the flight, removed."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from daq.errors import Refused
from daq.measurement import Measurement
from daq.rounding import fixed
from daq.station_equipment import AlarmEntry, ProfileEntry, ProfileKind, ProfileSetting
from procedures.engine.bench import Bench
from procedures.show import said, said_value
from procedures.steps.phasing_work import Work, quarter_wave_line
from procedures.steps.profile import (
    Normal,
    away_from_normal,
    computed,
    put_back,
    read_normal,
    turn_to,
    verify_normal,
)
from procedures.trims.alarm_setting import alarm_setting, sensitivity_per_m
from procedures.trims.width import course_width


@dataclass(frozen=True, slots=True)
class FlightResult:
    """What the flight is to give for a kind of profile.

    Attributes
    ----------
    what
        As it is asked for.
    unit
        SI.
    """

    what: str
    unit: str

    def said(self, value: float) -> str:
        """Return a value as it is spoken: a DDM to its fourth decimal, all else to the second."""
        return fixed(value, 4) if self.unit == "1" else f"{fixed(value, 2)} {self.unit}"


RESULTS: Final[Mapping[ProfileKind, FlightResult]] = {
    "wide": FlightResult("course width", "deg"),
    "narrow": FlightResult("course width", "deg"),
    "shifted": FlightResult("distance of the course line from the centreline", "m"),
    "low power": FlightResult("change of the signal from normal", "dB"),
    "phasing": FlightResult("DDM with the quarter-wave line in", "1"),
}


def fly_profile(bench: Bench, profile: ProfileEntry) -> None:
    """Set one profile, verify it, note ground and flight beside each other, and remove it.

    Raises
    ------
    Refused
        It cannot be set, or what was normal does not come back.
    """
    key = f"profile/{profile.name}"
    if profile.kind == "phasing":
        _phasing(bench, key, profile)
        return
    settings = [each for each in profile.settings if _is_here(bench, each)]
    if not settings:
        bench.tell(f"{profile.name}: skipped, the station has none of its controls.")
        return
    normal = read_normal(bench, key, [each.point for each in settings])
    controls = [each.control for each in settings]
    with away_from_normal(bench, key, f"the profile '{profile.name}' is set", controls):
        first = _set(bench, key, profile, settings, normal)
        ground = _ground(bench, profile, first, normal[first.point])
        _compare(bench, key, profile, ground, first)
        turned = [(each.point, each.control, each.band) for each in settings]
        put_back(bench, key, turned, normal)
        bands = {each.point: 1.5 * each.band for each in settings}
        verify_normal(bench, key, bands, normal)


def _is_here(bench: Bench, setting: ProfileSetting) -> bool:
    return bench.station.station.carriers == 2 or not setting.control.startswith("clearance")


def _set(
    bench: Bench,
    key: str,
    profile: ProfileEntry,
    settings: Sequence[ProfileSetting],
    normal: Normal,
) -> Measurement:
    """Turn each control to its target and read all again; return the first point's reading."""
    ratio: float | None = None
    for number, each in enumerate(settings, start=1):
        found = normal[each.point].value
        target = each.target
        if target is None:
            # The other carrier is taken down, or up, by as much as the first.
            follows = ratio is not None and profile.kind != "low power"
            target = (ratio or 1.0) * found if follows else _target(bench, profile, each, found)
        if ratio is None and found:
            ratio = target / found
        bench.tell(f"{profile.name}: '{each.point}' to {_spoken(bench, each.point, target)}.")
        limit = computed(target, each.band, each.point)
        step = f"{key}/set {number}"
        before = normal[each.point]
        turn_to(bench, step, each.point, limit, each.control, before, label=profile.name)
    read = {
        each.point: bench.measure(f"{key}/ground/{each.point}", each.point, label=profile.name)
        for each in settings
    }
    return read[settings[0].point]


def _target(bench: Bench, profile: ProfileEntry, each: ProfileSetting, found: float) -> float:
    """Return the alarm point that belongs to the kind of profile; `alarm_setting` says why."""
    kinds: dict[ProfileKind, str] = {
        "wide": "wide",
        "narrow": "narrow",
        "shifted": "course shift",
        "low power": "power",
    }
    entry = AlarmEntry.model_validate(
        {
            "name": profile.name,
            "kind": kinds[profile.kind],
            "point": each.point,
            "control": each.control,
            "side": profile.side,
        }
    )
    return alarm_setting(bench.station, entry).at(found)


def _ground(
    bench: Bench, profile: ProfileEntry, reading: Measurement, normal: Measurement
) -> float:
    """Return what the flight should find, going by the ground reading; unit of `RESULTS`."""
    station = bench.station
    if profile.kind in ("wide", "narrow"):
        half_m = 105.0 if station.course is None else station.course.half_width_m
        distance_m = station.geometry.distance_to_threshold_m
        nominal = station.point(reading.point).target or normal.value
        # DDM at a fixed monitor point is inversely as the width.
        width_deg = course_width(distance_m, half_width_m=half_m).course_width_deg
        return width_deg * nominal / reading.value
    if profile.kind == "shifted":
        # With 150 Hz to predominate on the old line, the new one lies on the 90 Hz side.
        return -reading.value / sensitivity_per_m(station)
    if profile.kind == "low power":
        return 10.0 * math.log10(reading.value / normal.value)
    return reading.value


def _compare(
    bench: Bench, key: str, profile: ProfileEntry, ground: float, reading: Measurement
) -> None:
    """Hold the profile for the flight, take its result, and note it beside the ground's."""
    wanted = RESULTS[profile.kind]
    by_ground = wanted.said(ground)
    bench.acknowledge(
        f"{key}/hold",
        f"'{profile.name}' is set and verified: '{reading.point}' reads {said(reading)}. By the "
        f"ground, the flight should find {wanted.what} {by_ground}. Hold it for the flight.",
    )
    flight = bench.number(
        f"{key}/flight",
        f"What the flight found, {wanted.what}:",
        unit=wanted.unit,
        suggestion=ground,
    )
    bench.note(
        f"{key}/correlation",
        f"Ground and flight, {profile.name}",
        {
            "profile": profile.kind,
            "what": wanted.what,
            "unit": wanted.unit,
            "point": reading.point,
            "ground_reading": reading.value,
            "ground": ground,
            "flight": flight,
            "flight_less_ground": flight - ground,
            "flight_over_ground": flight / ground if ground else None,
        },
    )
    bench.tell(f"{profile.name}: ground {by_ground}, flight {wanted.said(flight)}.")


def _phasing(bench: Bench, key: str, profile: ProfileEntry) -> None:
    """Put the quarter-wave line in for the flight, and see it out again."""
    phasing = bench.station.phasing.get(profile.phasing)
    if phasing is None:
        raise Refused(
            f"The profile '{profile.name}' needs a table [phasing.{profile.phasing}].",
        )
    point = bench.station.point(phasing.point)
    normal = read_normal(bench, key, [point.name])
    work = Work(bench, key, phasing, point, {})
    with quarter_wave_line(work, f"{key}/line"):
        reading = bench.measure(f"{key}/ground", point.name, label=profile.name)
        _compare(bench, key, profile, reading.value, reading)
    verify_normal(bench, key, {point.name: 2.0 * phasing.width_band}, normal)


def _spoken(bench: Bench, point: str, value: float) -> str:
    return said_value(bench.station.point(point).quantity, value)
