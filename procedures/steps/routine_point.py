"""One point of the routine readings: as found, against its limit and its reference, as left."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from daq.measurement import Measurement
from daq.station import Point
from daq.station_equipment import Routine
from procedures.engine.bench import Bench
from procedures.history.parameters import value_of
from procedures.history.references import Reference
from procedures.judge import Limit, Result, Verdict
from procedures.show import said, said_value
from procedures.steps.setting import adjust_until_set, set_to_limit

STATION_FILE: Final = "station file"

References = Mapping[str, tuple[float, float, int]]
"""Reference value, its standard uncertainty, SI, and its version, by name of the parameter."""


@dataclass(frozen=True, slots=True)
class FoundPoint:
    """A point as it was found, or left, and the verdict against the limit between visits."""

    point: Point
    reading: Measurement
    verdict: Verdict


def read_point(
    bench: Bench, table: Routine, point: Point, label: str, references: References
) -> FoundPoint:
    """Read a point and judge it against its limit and its reference value.

    Parameters
    ----------
    label
        ``as found`` or ``as left``.
    """
    key = f"routine/{point.name}/{label}"
    reading = bench.measure(key, point.name, label=label)
    limit = stay_within(table, point)
    judged = bench.judge(f"{key}/verdict", f"{point.name}, {label}", reading, limit)
    reference = references.get(point.name)
    if reference is not None:
        _compare(bench, key, table, reading, reference)
    return FoundPoint(point, reading, judged.verdict)


def set_right(bench: Bench, table: Routine, found: FoundPoint) -> bool:
    """Adjust a point that is out of its limits, or that somebody asks for; return whether it was.

    Raises
    ------
    Refused
        It does not come right.
    """
    if not _to_be_adjusted(bench, table, found):
        return False
    point = found.point
    adjust_until_set(bench, f"routine/{point.name}", point, found.reading, set_to_limit(point))
    return True


def stay_within(table: Routine, point: Point) -> Limit:
    """Return the interval in which a point has to stay between visits."""
    target = point.target or 0.0
    band = table.stay_ddm if point.quantity == "ddm" else table.stay_part * abs(target)
    name = f"{point.name}: stay within"
    return Limit(target - band, target + band, "1", name, STATION_FILE, STATION_FILE)


def _compare(
    bench: Bench,
    key: str,
    table: Routine,
    reading: Measurement,
    reference: tuple[float, float, int],
) -> None:
    """Judge the difference from the reference value in force."""
    value, u, version = reference
    known = Reference(value, u, reading.quantity, reading.unit)
    less = known.taken_from(value_of(reading), version)
    band = table.drift_ddm if reading.quantity == "ddm" else table.drift_part * abs(value)
    name = f"{reading.point} less its reference"
    limit = Limit(-band, band, "1", name, STATION_FILE, STATION_FILE)
    result = Result("difference", less.value, less.u, reading.point)
    judged = bench.judge(f"{key}/reference/verdict", name, result, limit)
    if judged.verdict is not Verdict.IN_TOLERANCE:
        bench.tell(
            f"'{reading.point}' reads {said(reading)}; its reference is "
            f"{said_value(reading.quantity, value)}: {judged.verdict}."
        )


def _to_be_adjusted(bench: Bench, table: Routine, found: FoundPoint) -> bool:
    point = found.point
    can = bool(point.control) and point.adjust_to is not None
    words = f"'{point.name}' reads {said(found.reading)}"
    if found.verdict is Verdict.OUT_OF_TOLERANCE:
        if not can:
            bench.tell(f"{words}, out of its limits, and nothing sets it here: find the cause.")
        return can
    if not (can and table.offer):
        return False
    question = f"{words}: {found.verdict}. Adjust it all the same?"
    return bench.confirm(f"routine/{point.name}/adjust all the same", question)
