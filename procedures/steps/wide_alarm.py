"""The wide alarm profile for flight inspection: set, verified off course, removed, restored."""

from __future__ import annotations

import math

from daq.errors import Refused
from daq.measurement import Measurement
from daq.rounding import fixed
from daq.station import WideAlarm
from procedures.engine.bench import Bench
from procedures.judge import Limit, Verdict
from procedures.show import said
from procedures.steps.profile import (
    Normal,
    away_from_normal,
    computed,
    put_back,
    read_normal,
    turn_to,
    verify_normal,
)
from procedures.trims.alarm import alarm_points
from procedures.trims.level import apply_level_db

RESTORED_CLEARANCE: float = 0.005
"""DDM by which a clearance reading may differ after the profile is removed; common practice, no
source."""


def wide_alarm(bench: Bench) -> None:
    """Set the wide profile by the station's convention, check what is left, and undo it.

    Raises
    ------
    Refused
        The station file does not describe the profile, a level does not come right, the normal
        values do not return; or, once they are back, too little is left off course.
    """
    plan = bench.station.wide_alarm
    if plan is None:
        raise Refused("The station file has no table [wide_alarm].")
    normal = read_normal(bench, "wide", _points(plan))
    alarm_db = _alarm_point(bench, plan, normal[plan.course_point])
    controls = [name for name in (plan.course_control, plan.clearance_control) if name]
    with away_from_normal(bench, "wide", "the wide alarm profile is set", controls):
        _set(bench, plan, normal, alarm_db)
        short = _short_off_course(bench, plan)
        if not short:
            bench.acknowledge(
                "wide/hold",
                "The profile is set and verified. It may be held for flight inspection; go on to "
                "remove it.",
            )
        put_back(bench, "wide", _turned(plan), normal)
        # The reminder stays until the normal values are back, not just the hands off the control.
        verify_normal(bench, "wide", _bands(plan), normal)
    if short:
        raise Refused(
            f"The wide alarm leaves too little off course: {'; '.join(short)}. The profile is "
            "removed and the normal values are back.",
            hint="raise the clearance SBO level, or find what weakens it, and begin again.",
        )


def _points(plan: WideAlarm) -> tuple[str, ...]:
    return (plan.course_point, *plan.clearance_points)


def _turned(plan: WideAlarm) -> list[tuple[str, str, float]]:
    turned = [(plan.course_point, plan.course_control, plan.band)]
    if plan.clearance_control and plan.clearance_points:
        turned.append((plan.clearance_points[0], plan.clearance_control, plan.band))
    return turned


def _bands(plan: WideAlarm) -> dict[str, float]:
    clearance = dict.fromkeys(plan.clearance_points, 1.5 * RESTORED_CLEARANCE)
    return {plan.course_point: 1.5 * plan.band, **clearance}


def _alarm_point(bench: Bench, plan: WideAlarm, normal: Measurement) -> float:
    """Return the SBO change in dB that makes the alarm point, and keep how it was computed."""
    convention = bench.station.conventions
    target = bench.station.point(plan.course_point).target
    if target is None:
        raise Refused(f"The point '{plan.course_point}' has no target.")
    alarm = alarm_points(target, convention.alarm_percent, convention.alarm_basis)
    bench.note(
        "wide/alarm point",
        "Wide alarm point",
        {
            "nominal_ddm": target,
            "basis": convention.alarm_basis,
            "percent": convention.alarm_percent,
            "wide_ddm": alarm.wide_ddm,
            "change_db": alarm.wide_db,
            "normal_ddm": normal.value,
        },
    )
    bench.tell(
        f"Wide alarm at {convention.alarm_percent:g} % of {convention.alarm_basis}: "
        f"{fixed(alarm.wide_ddm, 4, plus=True)} DDM, SBO {fixed(alarm.wide_db, 2, plus=True)} dB."
    )
    return alarm.wide_db


def _set(bench: Bench, plan: WideAlarm, normal: Normal, alarm_db: float) -> None:
    target = bench.station.point(plan.course_point).target or 0.0
    turn_to(
        bench,
        "wide/set course",
        plan.course_point,
        computed(apply_level_db(target, alarm_db), plan.band, plan.course_point),
        plan.course_control,
        normal[plan.course_point],
    )
    if plan.clearance_control and plan.clearance_points:
        first = plan.clearance_points[0]
        turn_to(
            bench,
            "wide/set clearance",
            first,
            computed(apply_level_db(normal[first].value, alarm_db), plan.band, first),
            plan.clearance_control,
            normal[first],
        )


def _short_off_course(bench: Bench, plan: WideAlarm) -> list[str]:
    """Judge what is left off course, each side by its tone; return where it is not enough."""
    short = []
    for name in plan.clearance_points:
        reading = bench.measure(f"wide/off course/{name}", name, label="wide alarm")
        right = math.copysign(1.0, bench.station.point(name).target or reading.value)
        limit = Limit(
            low=plan.off_course_minimum if right > 0 else None,
            high=None if right > 0 else -plan.off_course_minimum,
            name=f"{name}: off-course minimum at the wide alarm",
            source="station file",
            status="station file",
        )
        judgement = bench.judge(
            f"wide/off course/{name}/verdict", f"{name} at the wide alarm", reading, limit
        )
        if judgement.verdict is not Verdict.IN_TOLERANCE:
            short.append(
                f"'{name}' reads {said(reading)}, {judgement.verdict} against the minimum of "
                f"{fixed(plan.off_course_minimum, 3)}"
            )
    return short
