"""The wide alarm profile for flight inspection: set, verified off course, removed, restored."""

from __future__ import annotations

import math

from daq.errors import Refused
from daq.measurement import Measurement
from daq.roles import Action
from daq.station import WideAlarm
from procedures.bench import Bench
from procedures.judge import Limit, Verdict
from procedures.show import said, said_value
from procedures.steps.setting import TRIES, around, judge_setting
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
        The station file does not describe the profile, a level does not come right, or the
        normal values do not return.
    """
    plan = bench.station.wide_alarm
    if plan is None:
        raise Refused("The station file has no table [wide_alarm].")
    normal = _normal(bench, plan)
    alarm_db = _alarm_point(bench, plan, normal[plan.course_point])
    controls = [name for name in (plan.course_control, plan.clearance_control) if name]
    with bench.false_guidance(
        "wide",
        "the wide alarm profile is set; the radiated guidance is false",
        *(Action("restore control", {"control": name}) for name in controls),
    ):
        _set(bench, plan, normal, alarm_db)
        _check_off_course(bench, plan)
        bench.acknowledge(
            "wide/hold",
            "The profile is set and verified. It may be held for flight inspection; go on to "
            "remove it.",
        )
        _restore(bench, plan, normal)
        # The reminder stays until the normal values are back, not just the hands off the control.
        _verify_normal(bench, plan, normal)


def _points(plan: WideAlarm) -> tuple[str, ...]:
    return (plan.course_point, *plan.clearance_points)


def _normal(bench: Bench, plan: WideAlarm) -> dict[str, Measurement]:
    return {
        name: bench.measure(f"wide/normal/{name}", name, label="normal") for name in _points(plan)
    }


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
        f"{alarm.wide_ddm:+.4f} DDM, SBO {alarm.wide_db:+.2f} dB."
    )
    return alarm.wide_db


def _set(bench: Bench, plan: WideAlarm, normal: dict[str, Measurement], alarm_db: float) -> None:
    target = bench.station.point(plan.course_point).target or 0.0
    _turn(
        bench,
        "wide/set course",
        plan.course_point,
        around(
            apply_level_db(target, alarm_db),
            plan.band,
            plan.course_point,
            source="computed in this run",
        ),
        plan.course_control,
        normal[plan.course_point],
    )
    if plan.clearance_control and plan.clearance_points:
        first = plan.clearance_points[0]
        _turn(
            bench,
            "wide/set clearance",
            first,
            around(
                apply_level_db(normal[first].value, alarm_db),
                plan.band,
                first,
                source="computed in this run",
            ),
            plan.clearance_control,
            normal[first],
        )


def _turn(
    bench: Bench,
    key: str,
    point: str,
    limit: Limit,
    control: str,
    before: Measurement,
    *,
    label: str = "profile",
) -> Measurement:
    """Turn a control live until the captured reading lies within `limit`."""
    low, high = limit.low or 0.0, limit.high or 0.0
    target, band = (low + high) / 2.0, (high - low) / 2.0
    for attempt in range(1, TRIES + 1):
        quantity = bench.station.point(point).quantity
        before = bench.adjust(
            f"{key}/adjust {attempt}",
            point,
            target=target,
            band=band,
            control=control,
            instruction=(f"Turn '{control}' until '{point}' shows {said_value(quantity, target)}."),
            before=before,
        ).after
        verdict = judge_setting(bench, f"{key}/verdict {attempt}", label, before, limit).verdict
        if verdict is Verdict.IN_TOLERANCE:
            return before
    raise Refused(
        f"'{point}' reads {said(before)} after {TRIES} adjustments with '{control}'.",
        hint="the control may be at its stop; put it back and find the cause.",
    )


def _check_off_course(bench: Bench, plan: WideAlarm) -> None:
    """Judge that enough off-course signal is left, on each side and of the right tone."""
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
            bench.tell(
                f"'{name}' reads {said(reading)} at the wide alarm: {judgement.verdict} against "
                f"the off-course minimum of {plan.off_course_minimum:.3f}."
            )


def _restore(bench: Bench, plan: WideAlarm, normal: dict[str, Measurement]) -> None:
    wanted = [(plan.course_point, plan.course_control)]
    if plan.clearance_control and plan.clearance_points:
        wanted.append((plan.clearance_points[0], plan.clearance_control))
    for point, control in wanted:
        bench.require(
            f"wide/remove/{control}",
            f"Turn '{control}' back toward its normal mark.",
            action=Action("restore control", {"control": control}),
        )
        before = bench.measure(f"wide/removed/{point}", point, label="profile removed")
        limit = around(normal[point].value, plan.band, point, source="this run's normal reading")
        verdict = judge_setting(
            bench, f"wide/removed/{point}/verdict", "profile removed", before, limit
        ).verdict
        if verdict is not Verdict.IN_TOLERANCE:
            _turn(
                bench,
                f"wide/restore/{point}",
                point,
                limit,
                control,
                before,
                label="profile removed",
            )


def _verify_normal(bench: Bench, plan: WideAlarm, normal: dict[str, Measurement]) -> None:
    """Verify that every normal value is back.

    Raises
    ------
    Refused
        One is not.
    """
    for name in _points(plan):
        reading = bench.measure(f"wide/verify/{name}", name, label="normal restored")
        band = plan.band if name == plan.course_point else RESTORED_CLEARANCE
        limit = around(normal[name].value, 1.5 * band, name, source="this run's normal reading")
        verdict = judge_setting(
            bench, f"wide/verify/{name}/verdict", "normal restored", reading, limit
        ).verdict
        if verdict is not Verdict.IN_TOLERANCE:
            raise Refused(
                f"'{name}' reads {said(reading)} after the profile was removed; before it read "
                f"{said(normal[name])}.",
                hint="the profile may not be fully removed: check the controls before anything.",
            )
