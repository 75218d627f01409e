"""Routine: every point as found, against its limits and its reference values; little is touched.

What is within its limits is left alone, unless somebody asks for an adjustment: a value that is
turned at each visit has no history.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from daq.errors import Refused
from daq.log.entry import Body
from daq.station import Point, Station
from daq.station_equipment import Routine
from procedures.engine.bench import Bench
from procedures.judge import Verdict
from procedures.steps.preconditions import guidance_preconditions
from procedures.steps.routine_point import References, read_point, set_right

VERSION: Final = 2
"""Raised when the order or the questions change, so that old journals are not resumed by it."""


def routine(bench: Bench) -> None:
    """Take the routine readings and say what needs attention.

    Raises
    ------
    Refused
        The station file names no point that could be read, or one does not come right.
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    table = bench.station.routine or Routine()
    points = routine_points(bench.station, table)
    if not points:
        raise Refused(
            "The station file has no point with a target that can be read where it is.",
            hint="give the monitor's points their `target`.",
        )
    guidance_preconditions(bench)
    references = _references(bench)
    last = [read_point(bench, table, point, "as found", references) for point in points]
    # Everything is read before anything is touched: one control moves several readings.
    adjusted = [each.point.name for each in last if set_right(bench, table, each)]
    if adjusted:
        last = [read_point(bench, table, point, "as left", references) for point in points]
    attention = [each.point.name for each in last if each.verdict is not Verdict.IN_TOLERANCE]
    bench.note(
        "routine/result",
        "Routine readings",
        {"points": len(points), "adjusted": adjusted, "need_attention": attention},
    )
    if attention:
        bench.tell(f"Needs attention: {', '.join(attention)}.")
    else:
        bench.tell(f"All {len(points)} points are within their limits.")


def routine_points(station: Station, table: Routine) -> tuple[Point, ...]:
    """Return what the routine reads: the named points, else all with a target at the station.

    Carrier frequencies are not among the latter: their limits are the transmitter's.
    """
    if table.points:
        return tuple(station.point(name) for name in table.points)
    return tuple(
        point
        for point in station.points
        if point.target is not None and point.place is None and point.quantity != "frequency"
    )


def _references(bench: Bench) -> References:
    """Return the reference values in force; a resumed run keeps those it began with."""

    def live() -> Body:
        standing = bench.references
        if standing is None:
            return {"version": None, "values": {}}
        values = {name: [one.value, one.u] for name, one in standing.values.items()}
        return {"version": standing.version, "values": values}

    body = bench.journal.outcome("routine/references", {"do": "reference values"}, live)
    version = body["version"]
    if version is None:
        bench.tell("No reference values are in force; readings are compared with limits only.")
        return {}
    values = body["values"]
    if not isinstance(values, Mapping):
        raise Refused("The journal holds reference values that are none.")
    return {
        str(name): (float(pair[0]), float(pair[1]), int(str(version)))
        for name, pair in values.items()
    }
