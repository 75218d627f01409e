"""The course line by a traverse: planned, walked or driven, computed and judged."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from daq.errors import InputError, Refused
from daq.station_ground import Course, FieldPlace
from procedures.engine.bench import Bench
from procedures.judge import Judgement, Limit, Result
from procedures.limit_tables import find_limit
from procedures.steps.driven import DrivenTraverse
from procedures.steps.positions import Placed, Taken, Walk, marks_of, spread
from procedures.trims.course_line import CourseLine, NearFieldCorrection, Walked, course_line
from procedures.trims.drive_places import around_places
from procedures.trims.width import COURSE_EDGE_DDM, course_width


@dataclass(frozen=True, slots=True)
class CourseWork:
    """The station's course table and what follows from it.

    Attributes
    ----------
    bench, table
        Whose run it is, and the table.
    distance_m
        From the antenna to the threshold.
    nominal_per_m
        Displacement sensitivity that the width is tailored to, DDM/m at the threshold.
    planned
        Where the receiver is to stand.
    """

    bench: Bench
    table: Course
    distance_m: float
    nominal_per_m: float
    planned: tuple[FieldPlace, ...]

    def change(self, line: CourseLine) -> float:
        """Return the sensitivity against nominal, less one."""
        return line.sensitivity_per_m / self.nominal_per_m - 1.0

    def holds(self, line: CourseLine) -> bool:
        """Whether nothing is to be set that this station can set."""
        return not (self.width_is_out(line) or self.alignment_is_out(line))

    def width_is_out(self, line: CourseLine) -> bool:
        """Whether the width is farther from nominal than is left after an adjustment."""
        return abs(self.change(line)) > self.table.sensitivity_band

    def alignment_is_out(self, line: CourseLine) -> bool:
        """Whether the line is to be shifted, and can be."""
        out = abs(line.alignment_m) > self.table.alignment_band_m
        return out and bool(self.table.alignment_control)


def begin_course(bench: Bench) -> CourseWork:
    """Plan the traverse of ``[course]``.

    Raises
    ------
    Refused
        The station file has no such table, or the marks cannot be used.
    """
    table = bench.station.course
    if table is None:
        raise Refused(
            "The station file has no table [course].",
            hint="describe the traverse there: point, along, width_point, width_control.",
        )
    distance_m = bench.station.geometry.distance_to_threshold_m
    tailored = course_width(distance_m, half_width_m=table.half_width_m)
    marks = marks_of(bench, "course/marks", table.positions)
    if marks is None:
        edge_m = COURSE_EDGE_DDM / tailored.sensitivity_per_m * table.along_m / distance_m
        lateral_m = spread(table.reach_ddm / COURSE_EDGE_DDM * edge_m, table.places)
    elif marks.axis == "offset_m":
        lateral_m = list(marks.position)
    else:
        lateral_m = [table.along_m * math.tan(math.radians(deg)) for deg in marks.position]
    planned = tuple(FieldPlace.at_offset(table.along_m, x) for x in lateral_m)
    return CourseWork(bench, table, distance_m, tailored.sensitivity_per_m, planned)


def measure_course(work: CourseWork, key: str, label: str) -> CourseLine:
    """Walk the traverse, or take it from a log, and return the course line that it shows.

    Raises
    ------
    Refused
        The readings are no traverse across a course line.
    """
    table = work.table
    taken = _driven(work).take(key, label) or _walk(work, key, label)
    try:
        line = course_line(
            walked(taken, table.positions.u_m),
            work.distance_m,
            NearFieldCorrection(**table.near_field.model_dump()),
        )
    except InputError as error:
        raise Refused(error.message, hint=error.hint) from error
    _keep(work, key, label, taken.placed, line)
    return line


def _driven(work: CourseWork) -> DrivenTraverse:
    """Return the traverse that a log is read for, with all rows taken to the planned places."""
    offsets = (place.offset_m for place in work.planned)
    azimuths_deg = [math.degrees(math.atan2(lateral, along)) for along, lateral in offsets]
    table = work.table
    return DrivenTraverse(
        work.bench,
        table.point,
        table.positions,
        table.along_m,
        on_circle=False,
        cut=around_places(azimuths_deg),
    )


def _walk(work: CourseWork, key: str, label: str) -> Taken:
    table = work.table
    walk = Walk(work.bench, table.point, table.positions)
    placed = [
        walk.read(f"{key}/place {number}", planned, f"traverse, {label}, {planned.in_words}")
        for number, planned in enumerate(work.planned, start=1)
    ]
    return Taken(placed, table.positions.common_u_m)


def walked(taken: Taken, u_place_m: float) -> Walked:
    """Return readings at places as one traverse, each place uncertain by itself by so much."""
    readings = [placed.reading for placed in taken.placed]
    return Walked(
        places=[placed.at for placed in taken.placed],
        ddm=np.array([reading.value for reading in readings]),
        u_scatter=np.array([reading.u_scatter for reading in readings]),
        u_common=np.array([math.sqrt(max(0.0, r.u**2 - r.u_scatter**2)) for r in readings]),
        u_place_m=u_place_m,
        u_common_place_m=taken.u_common_place_m,
    )


def _keep(
    work: CourseWork, key: str, label: str, placed: Sequence[Placed], line: CourseLine
) -> None:
    rows = [
        {
            "along_m": each.at.along_m,
            "lateral_m": each.at.lateral_m,
            "reading_ddm": each.reading.value,
        }
        for each in placed
    ]
    work.bench.note(
        f"{key}/line",
        f"Course line, {label}",
        {
            "alignment_m": line.alignment_m,
            "alignment_u_m": line.alignment_u_m,
            "sensitivity_per_metre": line.sensitivity_per_m,
            "sensitivity_against_nominal": work.change(line),
            "half_width_90_side_m": line.half_width_left_m,
            "half_width_150_side_m": line.half_width_right_m,
            "course_width_deg": line.course_width_deg,
            "course_width_u_deg": line.course_width_u_deg,
            "curvature_in_standard_uncertainties": line.fit.quadratic_significance,
            "warnings": list(line.fit.warnings),
            "places": rows,
        },
    )
    side = "150" if line.alignment_m > 0 else "90"
    work.bench.tell(
        f"Course line {label}: {abs(line.alignment_m):.2f} ± {2 * line.alignment_u_m:.2f} m (k=2) "
        f"to the {side} Hz side at the threshold; sensitivity {100 * work.change(line):+.1f} ± "
        f"{200 * line.sensitivity_u_per_m / work.nominal_per_m:.1f} % of nominal; width "
        f"{line.course_width_deg:.2f}°."
    )


def judge_course(work: CourseWork, key: str, label: str, line: CourseLine) -> dict[str, Judgement]:
    """Judge a course line by the station's category and its own limits; returns by quantity."""
    return {
        result.quantity: work.bench.judge(
            f"{key}/{result.quantity}/verdict", f"{result.point}, {label}", result, limit
        )
        for result, limit in (*_by_category(work, line), *_by_station(work, line))
    }


def _by_category(work: CourseWork, line: CourseLine) -> list[tuple[Result, Limit]]:
    """Return what the tables of limits judge."""
    change_u = line.sensitivity_u_per_m / work.nominal_per_m
    change = Result("sensitivity change", work.change(line), change_u, "displacement sensitivity")
    alignment = Result("alignment", line.alignment_m, line.alignment_u_m, "course line")
    width = Result("course width", line.course_width_deg, line.course_width_u_deg, "course width")
    judged = [
        (alignment, _row(work, "alignment_m")),
        (change, _row(work, "sensitivity_change")),
        (width, _row(work, "course_width")),
    ]
    if work.bench.station.station.category == "I":
        # "10.5 m or 0.015 DDM, whichever is less": the other categories' rows are the same twice.
        shift = Result(
            "alignment as DDM",
            line.alignment_m * line.sensitivity_per_m,
            line.alignment_u_m * line.sensitivity_per_m,
            "course line as DDM",
        )
        judged.insert(1, (shift, _row(work, "alignment_ddm")))
    return judged


def _by_station(work: CourseWork, line: CourseLine) -> list[tuple[Result, Limit]]:
    """Return what the station file's own limits judge."""
    symmetry = Result("symmetry", line.symmetry, line.symmetry_u, "course symmetry")
    linearity = Result("linearity", line.linearity_ddm, line.linearity_u_ddm, "course linearity")
    farthest = Limit(
        None,
        work.table.linearity,
        "1",
        "linearity: farthest reading from the line",
        "station file",
        "station file",
    )
    return [(symmetry, _own("symmetry", work.table.symmetry)), (linearity, farthest)]


def _row(work: CourseWork, key: str) -> Limit:
    station = work.bench.station
    return find_limit("localizer", station.station.category, key, overrides=station.limits).limit()


def _own(name: str, size: float) -> Limit:
    return Limit(-size, size, "1", name, "station file", "station file")
