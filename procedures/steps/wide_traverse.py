"""The wide traverse: walked or driven, and the least clearance of each sector found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from daq.errors import InputError, Refused
from daq.measurement import Measurement
from daq.rounding import fixed
from daq.station_ground import Clearance, FieldPlace
from procedures.engine.bench import Bench
from procedures.limit_tables import LimitRow, find_limit
from procedures.steps.driven import DrivenTraverse
from procedures.steps.positions import Placed, Walk, marks_of
from procedures.trims.clearance import (
    INNER_EDGE_DEG,
    ClearanceCheck,
    SectorMinimum,
    check_clearance,
)
from procedures.trims.drive_places import Span, weakest_between
from procedures.trims.traverse import Traverse

NEAR_DDM: Final = 0.05
"""Margin to its limit, DDM, within which the lowest point of a sector is looked at closely."""

SPANS_SHOWN: Final = 8
"""More stretches without a usable row are counted and not listed."""


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
    unread_deg
        Between which azimuths a log that was driven has no usable row.
    """

    traverse: Traverse
    check: ClearanceCheck
    inner: LimitRow
    outer: LimitRow
    unread_deg: tuple[Span, ...] = ()

    def knows(self, sector: SectorMinimum) -> bool:
        """Whether the whole sector was read; an inner one begins where its limit is reached."""
        sign = 1.0 if sector.side == "150" else -1.0
        away = sign * self.traverse.position
        for span in self.unread_deg:
            near, far = sorted(sign * azimuth for azimuth in span)
            begins = sector.from_deg
            if sector.reached_deg is not None:
                # It may have been reached, and lost again, where nothing was read.
                begins = float(np.max(away[away < sector.reached_deg], initial=0.0))
            if far > begins and near < sector.to_deg:
                return False
        return True


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
        work.unread_deg = driven.unread_deg
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
    unread_deg: tuple[Span, ...] = ()
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
                positive_side_150=True,
            )
        except InputError as error:
            raise Refused(error.message, hint=error.hint) from error
        # How far the readings reach is among what is missing already.
        on_the_way = [
            span for span in self.unread_deg if span[0] < angles[-1] and span[1] > angles[0]
        ]
        check = replace(check, missing=(*check.missing, *_unread_in_words(on_the_way)))
        return Wide(traverse, check, self.inner, self.outer, self.unread_deg)


def _unread_in_words(unread_deg: Sequence[Span]) -> list[str]:
    if len(unread_deg) > SPANS_SHOWN:
        low, high = max(unread_deg, key=lambda span: span[1] - span[0])
        return [
            f"the log has no usable row in {len(unread_deg)} stretches, the widest from "
            f"{fixed(low, 1, plus=True)} to {fixed(high, 1, plus=True)} degrees"
        ]
    return [
        f"the log has no usable row from {fixed(low, 1, plus=True)} to "
        f"{fixed(high, 1, plus=True)} degrees"
        for low, high in unread_deg
    ]


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
