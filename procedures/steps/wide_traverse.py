"""The wide traverse: walked or driven, the least clearance of each sector found and judged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from daq.errors import InputError, Refused
from daq.measurement import Measurement
from daq.station_ground import Clearance, FieldPlace
from procedures.engine.bench import Bench
from procedures.judge import Judgement, Result
from procedures.limit_tables import LimitRow, find_limit
from procedures.steps.driven import DrivenTraverse
from procedures.steps.positions import Placed, Walk, marks_of
from procedures.trims.clearance import INNER_EDGE_DEG, ClearanceCheck, check_clearance
from procedures.trims.drive_places import weakest_between
from procedures.trims.traverse import Traverse

NEAR_DDM: Final = 0.05
"""Margin to its limit, DDM, within which the lowest point of a sector is looked at closely."""


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
    """Walk the wide traverse, or take it from a log, and find the least clearance of each sector.

    Walked, where the lowest point of a sector lies near its limit, places are added half way to its
    neighbours until they are as close as the station asks for: a sag where one carrier hands over
    to the other is narrow, and falls between places that are far apart. A log that was driven has
    it already: between each place and the next its weakest stretch is taken.

    Raises
    ------
    Refused
        The readings do not cross the course line.
    """
    station = bench.station
    inner, outer = (
        find_limit("localizer", station.station.category, key, overrides=station.limits)
        for key in ("clearance_inner", "clearance_outer")
    )
    work = _Work(bench, table, inner, outer, table.positions.common_u_m)
    planned_deg = azimuths_deg(bench, table)
    driven = _driven(bench, table, planned_deg).take("clearance", "as found")
    if driven is not None:
        work.u_common_place_m = driven.u_common_place_m
        for placed in driven.placed:
            work.add(placed)
        return work.wide()
    walk = Walk(bench, table.point, table.positions)
    more = planned_deg
    while more:
        for azimuth_deg in more:
            work.read(walk, azimuth_deg)
        more = between(work.wide(), table.finest_step_deg)
    return work.wide()


def _driven(bench: Bench, table: Clearance, planned_deg: Sequence[float]) -> DrivenTraverse:
    """Return the traverse that a log is read for."""
    return DrivenTraverse(
        bench,
        table.point,
        table.positions,
        table.radius_m,
        on_circle=True,
        cut=weakest_between(planned_deg, table.finest_step_deg),
    )


@dataclass
class _Work:
    """The readings so far, by the azimuth at which each was taken."""

    bench: Bench
    table: Clearance
    inner: LimitRow
    outer: LimitRow
    u_common_place_m: float
    readings: dict[float, Measurement] = field(default_factory=dict)

    def read(self, walk: Walk, azimuth_deg: float) -> None:
        """Have the receiver carried to an azimuth and read it."""
        key = f"clearance/place {len(self.readings) + 1}"
        planned = FieldPlace.at_azimuth(self.table.radius_m, azimuth_deg)
        self.add(walk.read(key, planned, f"traverse, {planned.in_words}"))

    def add(self, placed: Placed) -> None:
        """Keep a reading under the azimuth at which it was really taken."""
        at = placed.at
        self.readings[math.degrees(math.atan2(at.lateral_m, at.along_m))] = placed.reading

    def wide(self) -> Wide:
        """Return what the readings so far say."""
        angles = sorted(self.readings)
        ddm = np.array([self.readings[angle].value for angle in angles])
        u = np.array([self.readings[angle].u for angle in angles])
        # A place that is off moves a reading by as much as DDM changes on the way there.
        u_place_m = math.hypot(self.table.positions.u_m, self.u_common_place_m)
        u_place_deg = math.degrees(u_place_m / self.table.radius_m)
        u = np.hypot(u, u_place_deg * np.gradient(ddm, angles))
        traverse = Traverse("angle_deg", np.array(angles), ddm, u)
        try:
            check = check_clearance(
                traverse,
                rule=self.bench.station.conventions.acceptance,
                inner_ddm=self.inner.low or 0.0,
                outer_ddm=self.outer.low or 0.0,
            )
        except InputError as error:
            raise Refused(error.message, hint=error.hint) from error
        return Wide(traverse, check, self.inner, self.outer)


def between(wide: Wide, finest_deg: float) -> list[float]:
    """Return the azimuths at which to read besides: beside each lowest point near its limit."""
    angles = wide.traverse.position
    added = set()
    for sector in wide.check.sectors:
        if sector.judgement.margin > NEAR_DDM:
            continue
        at = int(np.argmin(np.abs(angles - sector.at_deg)))
        for beside in (at - 1, at + 1):
            if 0 <= beside < len(angles) and abs(angles[beside] - angles[at]) > finest_deg:
                added.add(round(float(angles[beside] + angles[at]) / 2.0, 4))
    return sorted(added)


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
            f"{sector.side} Hz side, {sector.searched}: lowest "
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
        point = _sector(sector.side, name)
        result = Result("clearance", sector.lowest_ddm, sector.judgement.u, point)
        found[f"{sector.side} {name}"] = bench.judge(
            f"clearance/{sector.side} {name}/verdict",
            f"{point}, lowest at {sector.at_deg:+.1f}°",
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
    point = _sector(side, "inner")
    return bench.judge(
        f"clearance/{side} inner/verdict",
        f"{point}, the most is at {traverse.position[at]:+.1f}°",
        Result("clearance", float(ddm[at]), u, point),
        wide.inner.limit(),
    )


def _sector(side: str, name: str) -> str:
    return f"clearance, {side} Hz side, {name} sector"
