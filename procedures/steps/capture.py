"""Course against clearance carrier: which is the stronger, where, and by how much.

A navigation receiver cannot tell the two carriers apart, so each is measured with the other
switched off. The receiver follows the stronger one (capture effect).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from daq.measurement import Measurement
from daq.station import CarrierName
from daq.station_ground import Clearance, FieldPlace
from procedures.engine.bench import Bench
from procedures.judge import Judgement, Result
from procedures.limit_tables import find_limit
from procedures.steps.carriers import carrier_off

ABOVE: Final = "course over clearance carrier"


@dataclass(frozen=True, slots=True)
class Capture:
    """Levels of both carriers.

    Attributes
    ----------
    azimuth_deg
        Shape (n,), increasing.
    ratio_db, u_db
        Shape (n,): course over clearance, and its standard uncertainty.
    region_deg
        Where the course carrier is the stronger one, on the 90 and on the 150 Hz side of the
        course line (negative, positive); None where that edge was not found.
    """

    azimuth_deg: Sequence[float]
    ratio_db: Sequence[float]
    u_db: Sequence[float]
    region_deg: tuple[float | None, float | None]


def measure_capture(bench: Bench, table: Clearance) -> Capture:
    """Measure the level of each carrier alone at the station's azimuths.

    Raises
    ------
    Refused
        A carrier is not switched off or on.
    """
    azimuths = sorted(table.capture_azimuths_deg)
    course = _levels(bench, table, azimuths, alone="course", off="clearance")
    clearance = _levels(bench, table, azimuths, alone="clearance", off="course")
    ratio = [a.value - b.value for a, b in zip(course, clearance, strict=True)]
    # One instrument, but 10 dB and more apart: its errors at the two levels need not be the same.
    u = [float(np.hypot(a.u, b.u)) for a, b in zip(course, clearance, strict=True)]
    capture = Capture(azimuths, ratio, u, _region(azimuths, ratio))
    bench.note(
        "capture/ratio",
        "Course carrier over clearance carrier",
        {
            "captured_from_deg": capture.region_deg[0],
            "captured_to_deg": capture.region_deg[1],
            "places": [
                {"azimuth_deg": azimuth, "course_over_clearance_db": db, "u_db": u_db}
                for azimuth, db, u_db in zip(azimuths, ratio, u, strict=True)
            ],
        },
    )
    return capture


def judge_capture(bench: Bench, capture: Capture) -> Judgement:
    """Judge the ratio at the azimuth nearest the course line."""
    at = int(np.argmin(np.abs(capture.azimuth_deg)))
    station = bench.station
    row = find_limit(
        "localizer", station.station.category, "capture_ratio", overrides=station.limits
    )
    return bench.judge(
        "capture/verdict",
        f"{ABOVE}, at {capture.azimuth_deg[at]:+.1f}°",
        Result("capture ratio", capture.ratio_db[at], capture.u_db[at], ABOVE),
        row.limit(),
    )


def _levels(
    bench: Bench,
    table: Clearance,
    azimuths: Sequence[float],
    *,
    alone: CarrierName,
    off: CarrierName,
) -> list[Measurement]:
    levels = []
    key = f"capture/{alone} alone"
    with carrier_off(bench, key, off):
        for number, azimuth in enumerate(azimuths, start=1):
            place = FieldPlace.at_azimuth(table.radius_m, azimuth)
            bench.carry(f"{key}/place {number}/carry", table.capture_point, place)
            label = f"traverse, {alone} carrier alone, {place.in_words}"
            levels.append(
                bench.measure(f"{key}/place {number}/level", table.capture_point, label=label)
            )
    return levels


def _region(
    azimuths: Sequence[float], ratio_db: Sequence[float]
) -> tuple[float | None, float | None]:
    """Return where the ratio crosses 0 dB on each side, by a straight line between places."""
    middle = int(np.argmin(np.abs(azimuths)))

    def edge(step: int) -> float | None:
        at = middle
        while 0 <= at + step < len(azimuths) and ratio_db[at] > 0.0:
            if ratio_db[at + step] <= 0.0:
                share = ratio_db[at] / (ratio_db[at] - ratio_db[at + step])
                return azimuths[at] + share * (azimuths[at + step] - azimuths[at])
            at += step
        return None

    return edge(-1), edge(1)
