"""Set what a traverse shows to be out: the width by SBO level, the line by its own control."""

from __future__ import annotations

from daq.errors import Refused
from procedures.steps.course_line import CourseWork
from procedures.steps.setting import adjust_until_set, around
from procedures.trims.course_line import CourseLine
from procedures.trims.level import level_change


def set_alignment(work: CourseWork, key: str, line: CourseLine) -> None:
    """Bring the course line onto the centreline, live at the station's point.

    A shift of the line changes every reading near it by sensitivity times shift, so the wanted
    reading is the present one and that much more; which does not ask exactly where the point
    lies, nor what the near field adds there. The SBO level does not move it: what shifts the line
    is carrier in the sideband's path, and counts in DDM.

    Raises
    ------
    Refused
        The control does not reach.
    """
    table, bench = work.table, work.bench
    point = bench.station.point(table.alignment_point)
    found = bench.measure(f"{key}/as found", point.name, label="alignment, as found")
    target = found.value + line.sensitivity_per_m * line.alignment_m
    limit = around(target, table.live_band, point.name, source="computed in this run")
    controlled = point.model_copy(update={"control": table.alignment_control})
    adjust_until_set(bench, key, controlled, found, limit)


def set_width(work: CourseWork, key: str, line: CourseLine) -> None:
    """Bring the width to nominal with the SBO level, live at the station's point.

    DDM off the course line is proportional to SBO, so the wanted reading is the present one times
    nominal over measured sensitivity; which does not ask exactly where the point lies.

    Raises
    ------
    Refused
        The sense is reversed, or the control does not reach.
    """
    table, bench = work.table, work.bench
    if line.sensitivity_per_m <= 0.0:
        raise Refused(
            "DDM falls towards the side where 150 Hz has to predominate: the sense is reversed.",
            hint="phase the transmitter first (transmit-phasing), then come back.",
        )
    point = bench.station.point(table.width_point)
    found = bench.measure(f"{key}/as found", point.name, label="width, as found")
    target = found.value * work.nominal_per_m / line.sensitivity_per_m
    change = level_change(line.sensitivity_per_m, work.nominal_per_m)
    bench.note(
        f"{key}/trim",
        "Level trim",
        {
            "change_db": change.change_db,
            "control": table.width_control,
            "from_ddm": found.value,
            "to_ddm": target,
        },
    )
    bench.tell(
        f"The width wants {change.change_db:+.2f} dB ({change.change_percent:+.1f} %) with "
        f"'{table.width_control}'."
    )
    limit = around(target, table.live_band, point.name, source="computed in this run")
    controlled = point.model_copy(update={"control": table.width_control})
    adjust_until_set(bench, key, controlled, found, limit)
