"""The wide traverse: walked on a circle, the least clearance of each sector found and judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from daq.errors import InputError, Refused
from daq.measurement import Measurement
from daq.station_ground import Clearance, FieldPlace
from procedures.bench import Bench
from procedures.judge import Judgement, Result
from procedures.limit_tables import LimitRow, find_limit
from procedures.steps.positions import Walk, marks_of
from procedures.trims.clearance import INNER_EDGE_DEG, ClearanceCheck, check_clearance
from procedures.trims.traverse import Traverse


@dataclass(frozen=True, slots=True)
class Wide:
    """A wide traverse and what it says.

    Attributes
    ----------
    traverse
        DDM against azimuth.
    check
        The least clearance per sector.
    inner, outer
        The limits that hold.
    """

    traverse: Traverse
    check: ClearanceCheck
    inner: LimitRow
    outer: LimitRow


def azimuths_deg(bench: Bench, table: Clearance) -> list[float]:
    """Return where the receiver is to stand: by the station's marks, else by its steps.

    Raises
    ------
    Refused
        The marks cannot be used, or are metres.
    """
    marks = marks_of(bench, "clearance/marks", table.positions)
    if marks is None:
        inner = np.arange(0.0, INNER_EDGE_DEG + 1e-9, table.inner_step_deg)
        outer = np.arange(INNER_EDGE_DEG, table.reach_deg + 1e-9, table.outer_step_deg)
        side = sorted({*np.round(inner, 6), *np.round(outer, 6), INNER_EDGE_DEG, table.reach_deg})
        return [-float(x) for x in reversed(side) if x > 0.0] + [float(x) for x in side]
    if marks.axis != "angle_deg":
        raise Refused(
            f"{table.positions.file} holds metres; the wide traverse lies on a circle.",
            hint="give a column angle_deg, degrees from the course line.",
        )
    return list(marks.position)


def measure_wide(bench: Bench, table: Clearance) -> Wide:
    """Walk the wide traverse and find the least clearance of each sector.

    Raises
    ------
    Refused
        The readings do not cross the course line.
    """
    walk = Walk(bench, table.point, table.positions)
    angles: list[float] = []
    readings: list[Measurement] = []
    for number, azimuth_deg in enumerate(azimuths_deg(bench, table), start=1):
        key = f"clearance/place {number}"
        planned = FieldPlace.at_azimuth(table.radius_m, azimuth_deg)
        at = walk.go(key, planned)
        angles.append(float(np.degrees(np.arctan2(at.lateral_m, at.along_m))))
        readings.append(bench.measure(f"{key}/ddm", table.point, label=planned.in_words))
    order = np.argsort(angles, kind="stable")
    traverse = Traverse(
        "angle_deg",
        np.array(angles)[order],
        np.array([reading.value for reading in readings])[order],
        np.array([reading.u for reading in readings])[order],
    )
    station = bench.station
    category = station.station.category
    inner, outer = (
        find_limit("localizer", category, key, overrides=station.limits)
        for key in ("clearance_inner", "clearance_outer")
    )
    try:
        check = check_clearance(
            traverse,
            rule=station.conventions.acceptance,
            inner_ddm=inner.low or 0.0,
            outer_ddm=outer.low or 0.0,
        )
    except InputError as error:
        raise Refused(error.message, hint=error.hint) from error
    return Wide(traverse, check, inner, outer)


def keep_wide(bench: Bench, wide: Wide) -> None:
    """Keep the lowest points and what is not known, and say them."""
    check = wide.check
    bench.note(
        "clearance/lowest",
        "Clearance, lowest points",
        {
            "reached_90_side_deg": check.reached_deg[0],
            "reached_150_side_deg": check.reached_deg[1],
            "missing": list(check.missing),
            "sectors": [
                {
                    "side": f"{sector.side} Hz",
                    "from_deg": sector.from_deg,
                    "to_deg": sector.to_deg,
                    "lowest_ddm": sector.lowest_ddm,
                    "at_deg": sector.at_deg,
                    "readings": sector.points,
                }
                for sector in check.sectors
            ],
            "places": [
                {"azimuth_deg": float(angle), "reading_ddm": float(ddm)}
                for angle, ddm in zip(wide.traverse.position, wide.traverse.ddm, strict=True)
            ],
        },
    )
    for sector in check.sectors:
        bench.tell(
            f"{sector.side} Hz side, {sector.from_deg:.1f} to {sector.to_deg:.0f}°: lowest "
            f"{sector.lowest_ddm:.3f} at {sector.at_deg:+.1f}°."
        )
    for words in check.missing:
        bench.tell(f"NOT KNOWN: {words}.")


def judge_wide(bench: Bench, wide: Wide) -> dict[str, Judgement]:
    """Judge the lowest point of each sector; returns by side and sector, such as ``90 inner``.

    A side on which the inner limit is reached nowhere within 10 degrees is judged by the most
    that it shows there.
    """
    found: dict[str, Judgement] = {}
    for sector in wide.check.sectors:
        name = "inner" if sector.to_deg <= INNER_EDGE_DEG else "outer"
        row = wide.outer if name == "outer" else wide.inner
        result = Result("clearance", sector.lowest_ddm, sector.judgement.u)
        found[f"{sector.side} {name}"] = bench.judge(
            f"clearance/{sector.side} {name}/verdict",
            f"Clearance, {sector.side} Hz side, {name} sector: lowest at {sector.at_deg:+.1f}°",
            result,
            row.limit(),
        )
    for side, sign in (("90", -1.0), ("150", 1.0)):
        if f"{side} inner" not in found:
            found[f"{side} inner"] = _judge_most(bench, wide, side, sign)
    return found


def _judge_most(bench: Bench, wide: Wide, side: str, sign: float) -> Judgement:
    traverse = wide.traverse
    here = (traverse.position * sign > 0.0) & (np.abs(traverse.position) <= INNER_EDGE_DEG)
    ddm = np.where(here, sign * traverse.ddm, -np.inf)
    at = int(np.argmax(ddm))
    u = 0.0 if traverse.u_ddm is None else float(traverse.u_ddm[at])
    return bench.judge(
        f"clearance/{side} inner/verdict",
        f"Clearance, {side} Hz side, inner sector: the most is at {traverse.position[at]:+.1f}°",
        Result("clearance", float(ddm[at]), u),
        wide.inner.limit(),
    )
