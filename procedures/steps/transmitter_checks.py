"""One transmitter at its own sockets: frequencies, power, modulation, identification."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from daq.measurement import Measurement
from daq.station_equipment import CarrierChecks, TransmitterChecks
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result
from procedures.limit_tables import find_limit, limits_for, load_limits
from procedures.steps.carrier_tones import check_carrier_tones
from procedures.steps.detector_records import Mean
from procedures.steps.identification import STATION_FILE, check_identification
from procedures.steps.modulation import measure_modulation

JUDGED: Final = (
    ("depth_90", "depth_90", "depth_90"),
    ("depth_150", "depth_150", "depth_150"),
    ("sdm", "sdm", "sdm"),
    ("tone_90_hz", "tone_90", "tone_90"),
    ("tone_150_hz", "tone_150", "tone_150"),
    ("harmonics_90", "harmonics_90", "harmonic content"),
    ("second_harmonic_90", "second_harmonic_90", "harmonic content"),
    ("harmonics_150", "harmonics_150", "harmonic content"),
    ("tone_phase_deg", "tone_phase", "tone phase"),
)
"""Estimate, key of the limit, and quantity of the result; what has no limit in the station's
category is kept and not judged."""

DEPTHS: Final = frozenset({"depth_90", "depth_150", "sdm"})
"""What the detector's law and the record's scale change."""


@dataclass(frozen=True, slots=True)
class CarrierFound:
    """What was measured of one carrier of one transmitter; None where a point is missing."""

    frequency: Measurement | None
    power: Measurement | None
    tones: Mapping[str, Mean] | None


Found = Mapping[str, CarrierFound]
"""By carrier."""


def check_transmitter(bench: Bench, table: TransmitterChecks, number: int) -> Found:
    """Measure and judge everything of the transmitter that is selected.

    Raises
    ------
    Refused
        A record cannot be measured, or the identification is not keyed or not suppressed again.
    """
    key = f"transmitter {number}"
    found: dict[str, CarrierFound] = {
        each.carrier: _carrier(bench, table, key, each) for each in carriers_here(bench, table)
    }
    _separation(bench, key, found)
    if table.both_point and bench.station.station.carriers == 2:
        check_carrier_tones(bench, key, table)
    if table.ident is not None:
        check_identification(bench, f"{key}/identification", table.ident, table.detector_u)
    return found


def carriers_here(bench: Bench, table: TransmitterChecks) -> list[CarrierChecks]:
    """Return the carriers that the station has: one with one carrier has no clearance's."""
    dual = bench.station.station.carriers == 2
    return [each for each in table.carriers if dual or each.carrier == "course"]


def _carrier(
    bench: Bench, table: TransmitterChecks, which: str, each: CarrierChecks
) -> CarrierFound:
    key = f"{which}/{each.carrier}"
    frequency = power = tones = None
    if each.frequency_point:
        frequency = bench.measure(f"{key}/frequency", each.frequency_point, label=which)
        _judge_frequency(bench, which, each, frequency)
    if each.power_point and each.normal_power_w is not None:
        power = bench.measure(f"{key}/power", each.power_point, label=which)
        _judge_power(
            bench, f"{key}/power", which, power, (each.normal_power_w, table.power_band_db)
        )
    if each.detector_point:
        tones = measure_modulation(bench, f"{key}/tones", each.detector_point, table.records)
        _judge_tones(bench, which, each, table, tones)
    return CarrierFound(frequency, power, tones)


def _judge_frequency(bench: Bench, which: str, each: CarrierChecks, found: Measurement) -> None:
    station = bench.station.station
    assigned_hz = each.assigned_hz or station.frequency_hz
    offset = Result("carrier offset", found.value / assigned_hz - 1.0, found.u / assigned_hz)
    name = "carrier_offset_dual" if station.carriers == 2 else "carrier_offset_single"
    title = f"{which}, {each.carrier} carrier against {assigned_hz / 1e6:.5f} MHz"
    bench.judge(f"{which}/{each.carrier}/frequency/verdict", title, offset, _limit(bench, name))


def _judge_power(
    bench: Bench, key: str, which: str, found: Measurement, normal: tuple[float, float]
) -> None:
    normal_w, band_db = normal
    level = 10.0 * math.log10(max(found.value, 1e-9) / normal_w)
    u_db = 10.0 / math.log(10.0) * found.u / max(found.value, 1e-9)
    result = Result("power against normal", level, u_db, found.point)
    limit = Limit(-band_db, band_db, "dB", f"{found.point}: normal", STATION_FILE, STATION_FILE)
    bench.judge(f"{key}/verdict", f"{found.point}, {which}, against normal", result, limit)


def _judge_tones(
    bench: Bench,
    which: str,
    each: CarrierChecks,
    table: TransmitterChecks,
    tones: Mapping[str, Mean],
) -> None:
    key = f"{which}/{each.carrier}"
    for name, limit_key, quantity in JUDGED:
        mean = tones[name]
        u = math.hypot(mean.u, table.detector_u * mean.value if name in DEPTHS else 0.0)
        if not _limited(bench, limit_key):
            what = next(row.name for row in load_limits("localizer") if row.key == limit_key)
            title = f"{which}, {each.carrier} carrier: {what}, without a limit in this category"
            bench.note(f"{key}/{limit_key}", title, {"value": mean.value, "u": u})
            continue
        limit = _limit(bench, limit_key)
        title = f"{which}, {each.carrier} carrier: {limit.name}"
        bench.judge(f"{key}/{limit_key}/verdict", title, Result(quantity, mean.value, u), limit)
    balance = tones["ddm"]
    # Both tones go through one detector: what its law does to a small difference is as small.
    u = math.hypot(balance.u, table.detector_u * balance.value)
    band = table.balance
    limit = Limit(-band, band, "1", "balance of CSB alone", STATION_FILE, STATION_FILE)
    title = f"{which}, {each.carrier} carrier: balance of CSB alone"
    bench.judge(f"{key}/balance/verdict", title, Result("ddm", balance.value, u), limit)


def _separation(bench: Bench, key: str, found: Found) -> None:
    both = [found[name].frequency for name in ("course", "clearance") if name in found]
    if len(both) < 2 or both[0] is None or both[1] is None:
        return
    course, clearance = both[0], both[1]
    # One counter reads both: its time base is off by the same part in each and leaves next to
    # nothing in the difference; what scatters does not cancel.
    u_hz = math.hypot(course.u_scatter, clearance.u_scatter)
    separation_hz = abs(course.value - clearance.value)
    result = Result("carrier separation", separation_hz, max(u_hz, 1.0))
    limit = _limit(bench, "carrier_separation")
    bench.judge(f"{key}/separation/verdict", f"{key}, separation of the carriers", result, limit)


def _limit(bench: Bench, key: str) -> Limit:
    station = bench.station
    category = station.station.category
    return find_limit("localizer", category, key, overrides=station.limits).limit()


def _limited(bench: Bench, key: str) -> bool:
    """Whether the table demands anything of that quantity in the station's category."""
    station = bench.station
    rows = limits_for("localizer", station.station.category, overrides=station.limits)
    return any(row.key == key and not row.recommended for row in rows)
