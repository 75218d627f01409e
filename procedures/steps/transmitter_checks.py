"""One transmitter at its own sockets: frequencies, power, modulation, identification."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from daq.measurement import Measurement
from daq.roles import Action
from daq.station_equipment import CarrierChecks, IdentCheck, TransmitterChecks
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result
from procedures.limit_tables import find_limit
from procedures.steps.modulation import Mean, catch_ident, measure_modulation

DOT_U_S: Final = 0.003
"""Standard uncertainty of the length of a dot from a decoded record: half a step of its keying."""

STATION_FILE: Final = "station file"

JUDGED: Final = (
    ("depth_90", "depth_90", "depth_90"),
    ("depth_150", "depth_150", "depth_150"),
    ("sdm", "sdm", "sdm"),
    ("tone_90_hz", "tone_90", "tone_90"),
    ("tone_150_hz", "tone_150", "tone_150"),
    ("harmonics_90", "harmonics_90", "harmonic content"),
    ("harmonics_150", "harmonics_150", "harmonic content"),
    ("tone_phase_deg", "tone_phase", "tone phase"),
)
"""Estimate, key of the limit, and quantity of the result."""

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
    """Measure and judge everything of the transmitter that is selected."""
    key = f"transmitter {number}"
    found: dict[str, CarrierFound] = {
        each.carrier: _carrier(bench, table, key, each) for each in carriers_here(bench, table)
    }
    _separation(bench, key, found)
    if table.ident is not None:
        _ident(bench, f"{key}/identification", table.ident, table.detector_u)
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


def _ident(bench: Bench, key: str, table: IdentCheck, detector_u: float) -> None:
    bench.require(
        f"{key}/on",
        "Let the transmitter key its identification.",
        action=Action("key ident", {"mode": "code"}),
    )
    found = catch_ident(bench, f"{key}/caught", table.point, table.records)
    depth = found.depth or Mean(0.0, 0.0)
    u = math.hypot(depth.u, detector_u * depth.value)
    depths = Result("ident_depth", depth.value, u)
    bench.judge(f"{key}/depth/verdict", f"{key}: depth", depths, _limit(bench, "ident_depth"))
    if found.tone_hz is not None:
        tone = Result("frequency", found.tone_hz.value, found.tone_hz.u)
        bench.judge(f"{key}/tone/verdict", f"{key}: tone", tone, _limit(bench, "ident_tone"))
    if found.dot_s is not None:
        dot = Result("ident dot", found.dot_s, DOT_U_S)
        bench.judge(f"{key}/dot/verdict", f"{key}: dot", dot, _limit(bench, "ident_dot"))
    wanted = bench.station.station.ident
    by_ear = not found.text
    right = (
        bench.confirm(f"{key}/by ear", f"Listen: does the identification spell {wanted}?")
        if by_ear
        else found.spells(wanted)
    )
    bench.note(
        f"{key}/code",
        "Identification",
        {
            "wanted": wanted,
            "spelt": found.text or None,
            "by_ear": by_ear,
            "right": right,
            "words_per_minute": found.wpm,
        },
    )
    if not right:
        bench.tell(f"The identification is NOT {wanted}: {found.text or 'as heard'}.")


def _limit(bench: Bench, key: str) -> Limit:
    station = bench.station
    category = station.station.category
    return find_limit("localizer", category, key, overrides=station.limits).limit()
