"""A state that is set for a while: controls turned to it, put back, and proven to be back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from daq.errors import Refused
from daq.measurement import Measurement
from daq.roles import Action
from procedures.engine.bench import Bench
from procedures.judge import Limit, Verdict
from procedures.show import said, said_value
from procedures.steps.setting import TRIES, around, judge_setting, say_out

PROFILE_REMOVED = "profile removed"
NORMAL_RESTORED = "normal restored"

Normal = Mapping[str, Measurement]
"""What each point read before anything was turned, by its name."""


def read_normal(bench: Bench, key: str, points: Sequence[str]) -> Normal:
    """Read each point before anything is turned."""
    return {
        name: bench.measure(f"{key}/normal/{name}", name, label="normal")
        for name in dict.fromkeys(points)
    }


@contextmanager
def away_from_normal(
    bench: Bench, key: str, what: str, controls: Sequence[str], *more: Action
) -> Iterator[None]:
    """Remind of `what` while controls are away from their marks.

    `more` is what else has to be undone. The reminder stays when the block is left by an error.
    """
    undo = (Action("restore control", {"control": name}) for name in dict.fromkeys(controls))
    with bench.false_guidance(key, f"{what}; the radiated guidance is false", *undo, *more):
        yield


def turn_to(
    bench: Bench,
    key: str,
    point: str,
    limit: Limit,
    control: str,
    before: Measurement,
    *,
    label: str = "profile",
) -> Measurement:
    """Turn a control live until the captured reading lies within `limit`.

    Raises
    ------
    Refused
        It does not, in `TRIES` adjustments.
    """
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
        if attempt < TRIES:
            say_out(bench, before, limit)
    raise Refused(
        f"'{point}' reads {said(before)} after {TRIES} adjustments with '{control}'.",
        hint="the control may be at its stop; put it back and find the cause.",
    )


def computed(target: float, band: float, point: str) -> Limit:
    """Return the interval around a target that this run computed."""
    return around(target, band, point, source="computed in this run")


def put_back(
    bench: Bench, key: str, turned: Sequence[tuple[str, str, float]], normal: Normal
) -> None:
    """Have each control put back to its mark, and turned live where that is not enough.

    Parameters
    ----------
    turned
        Point, control and accepted distance from the normal reading.

    Raises
    ------
    Refused
        A normal reading does not come back.
    """
    for point, control, band in turned:
        bench.require(
            f"{key}/remove/{control}",
            f"Turn '{control}' back toward its normal mark.",
            action=Action("restore control", {"control": control}),
        )
        before = bench.measure(f"{key}/removed/{point}", point, label=PROFILE_REMOVED)
        limit = around(normal[point].value, band, point, source="this run's normal reading")
        verdict = judge_setting(
            bench, f"{key}/removed/{point}/verdict", PROFILE_REMOVED, before, limit
        ).verdict
        if verdict is not Verdict.IN_TOLERANCE:
            turn_to(
                bench,
                f"{key}/restore/{point}",
                point,
                limit,
                control,
                before,
                label=PROFILE_REMOVED,
            )


def verify_normal(bench: Bench, key: str, bands: Mapping[str, float], normal: Normal) -> None:
    """Verify that every normal value is back.

    Parameters
    ----------
    bands
        Accepted distance from the normal reading, by point.

    Raises
    ------
    Refused
        One is not.
    """
    for name, band in bands.items():
        reading = bench.measure(f"{key}/verify/{name}", name, label=NORMAL_RESTORED)
        limit = around(normal[name].value, band, name, source="this run's normal reading")
        verdict = judge_setting(
            bench, f"{key}/verify/{name}/verdict", NORMAL_RESTORED, reading, limit
        ).verdict
        if verdict is not Verdict.IN_TOLERANCE:
            raise Refused(
                f"'{name}' reads {said(reading)} after the profile was removed; before it read "
                f"{said(normal[name])}.",
                hint="the profile may not be fully removed: check the controls before anything.",
            )
