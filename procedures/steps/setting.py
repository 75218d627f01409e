"""Bring one point to its target: as found, live adjustment if it is out, as left."""

from __future__ import annotations

from typing import Final

from daq.errors import Refused
from daq.measurement import Measurement
from daq.station import Point
from procedures.engine.bench import Bench
from procedures.judge import Judgement, Limit, Verdict
from procedures.record.figures import interval, unit_of
from procedures.show import said

TRIES: Final = 3
"""Adjustments of one point before the technician is told that it does not come right."""


def set_to_limit(point: Point) -> Limit:
    """Return the interval in which a point has to read after an adjustment.

    Raises
    ------
    Refused
        The station file gives the point no target or no tolerance.
    """
    if point.target is None or point.adjust_to is None:
        raise Refused(
            f"The point '{point.name}' has no target to be set to.",
            hint="give it `target` and `adjust_to` in the station file.",
        )
    return around(point.target, point.adjust_to, point.name)


def around(target: float, band: float, name: str, *, source: str = "station file") -> Limit:
    """Return the interval `target` ± `band` that a reading is set to.

    `source` says who set the target: the station file, common practice, or this run by what it
    read or computed.
    """
    return Limit(
        low=target - band, high=target + band, name=f"{name}: set to", source=source, status=source
    )


def judge_setting(
    bench: Bench, key: str, label: str, measurement: Measurement, limit: Limit
) -> Judgement:
    """Judge a setting: the reading itself has to lie in the interval (simple acceptance).

    A technician sets what the instrument shows; the instrument's uncertainty enters where the
    result is judged against a limit of the facility.
    """
    return bench.judge(key, f"{measurement.point}, {label}", measurement, limit, rule="simple")


def say_out(bench: Bench, captured: Measurement, limit: Limit) -> None:
    """Say that a captured value is out of its band, before the same is asked once more."""
    band = interval(captured.quantity, limit.low, limit.high).replace("\N{MINUS SIGN}", "-")
    bench.tell(
        f"'{captured.point}' reads {said(captured)}: out of the band, "
        f"{f'{band} {unit_of(captured.quantity)}'.strip()}. Again."
    )


def bring_to_target(bench: Bench, key: str, point_name: str) -> Measurement:
    """Read a point as found, adjust it live if it is out, and return it as left.

    Raises
    ------
    Refused
        The point has no control, or does not come right in `TRIES` adjustments.
    """
    point = bench.station.point(point_name)
    limit = set_to_limit(point)
    found = bench.measure(f"{key}/as found", point_name, label="as found")
    if judge_setting(bench, f"{key}/as found/verdict", "as found", found, limit).verdict is (
        Verdict.IN_TOLERANCE
    ):
        return found
    if not point.control:
        raise Refused(
            f"'{point_name}' reads {said(found)} and the station file names no control for it.",
            hint="find the cause before going on.",
        )
    return adjust_until_set(bench, key, point, found, limit)


def adjust_until_set(
    bench: Bench, key: str, point: Point, found: Measurement, limit: Limit
) -> Measurement:
    """Adjust a point's control live until the captured reading lies within `limit`.

    Raises
    ------
    Refused
        It does not come right in `TRIES` adjustments.
    """
    target, band = _centre(limit)
    before = found
    for attempt in range(1, TRIES + 1):
        adjustment = bench.adjust(
            f"{key}/adjust {attempt}",
            point.name,
            target=target,
            band=band,
            control=point.control,
            instruction=f"Turn '{point.control}' until '{point.name}' shows the target.",
            before=before,
        )
        before = adjustment.after
        verdict = judge_setting(
            bench, f"{key}/as left {attempt}/verdict", "as left", before, limit
        ).verdict
        if verdict is Verdict.IN_TOLERANCE:
            return before
        if attempt < TRIES:
            say_out(bench, before, limit)
    raise Refused(
        f"'{point.name}' reads {said(before)} after {TRIES} adjustments with '{point.control}'.",
        hint="the control may be at its stop: find the cause before going on.",
    )


def _centre(limit: Limit) -> tuple[float, float]:
    if limit.low is None or limit.high is None:
        raise Refused(f"{limit.name}: an adjustment needs an interval with two ends.")
    return (limit.low + limit.high) / 2.0, (limit.high - limit.low) / 2.0
