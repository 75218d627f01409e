"""The monitor's other channels: course line, clearances, far field; read, and set where out."""

from __future__ import annotations

from procedures.engine.bench import Bench
from procedures.judge import Verdict
from procedures.show import said
from procedures.steps.setting import adjust_until_set, judge_setting, set_to_limit


def monitor_channels(bench: Bench) -> None:
    """Read each channel of ``[monitor]`` as found and adjust those that are out and can be.

    A channel without a control that reads out is told and stands on the record; it is not what
    this work sets, and its cause lies in the field or in the channel itself.

    Raises
    ------
    Refused
        A channel has no target, or does not come right with its control.
    """
    for name in bench.station.monitor.channels:
        point = bench.station.point(name)
        limit = set_to_limit(point)
        key = f"channels/{name}"
        found = bench.measure(f"{key}/as found", name, label="as found")
        judged = judge_setting(bench, f"{key}/as found/verdict", "as found", found, limit)
        if judged.verdict is Verdict.IN_TOLERANCE:
            bench.tell(f"'{name}' reads {said(found)}.")
            continue
        if point.control:
            adjust_until_set(bench, key, point, found, limit)
        else:
            bench.tell(
                f"'{name}' reads {said(found)}, which is out, and the station file names no "
                "control for it: find the cause."
            )
