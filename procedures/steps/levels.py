"""Signal levels: every voltage point of the station set to its target."""

from __future__ import annotations

from procedures.engine.bench import Bench
from procedures.steps.setting import bring_to_target


def signal_levels(bench: Bench) -> None:
    """Read each test point that is measured in volts, and set those that are out.

    Raises
    ------
    Refused
        A level does not come right.
    """
    for point in bench.station.points:
        if point.quantity == "vpp" and point.target is not None:
            bring_to_target(bench, f"levels/{point.name}", point.name)
