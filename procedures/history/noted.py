"""What one run has to say of a parameter: from its measurements, and from what it computed.

What a point read in its normal state before and after a profile belongs to the same parameter as
its other normal readings. A state that the procedure makes, such as the wide alarm, was not found
and has no as-found value to follow. Readings at the places of a traverse are not followed one by
one: what the traverse gave, such as the alignment, is.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from daq.log.entry import Body, Entry
from daq.measurement import Measurement
from procedures.history.model import LimitLine, Parameter, Value
from procedures.record import rows
from procedures.record.model import FoundLeft, Measured
from procedures.record.pairing import AROUND_PROFILE, summarise
from procedures.record.steps import COMPUTED, Steps

_AT_A_PLACE: Final = re.compile(r"/place \d+/")
_NOT_FOLLOWED: Final = re.compile(r"comparison|.* made to predominate")
"""States that check an instrument or a connection and say nothing of the station."""

_DIFFERENCE: Final = re.compile(r"/reference(?:/|$)")
"""Steps that compare a reading with its reference value: the reading itself is followed."""

_FOUND_OR_LEFT: Final = re.compile(r"(?:^|, )as (?:found|left)(?: \d+)?$")
_PASSING: Final = re.compile(r"verdict|(?:as (?:found|left)|round)(?: \d+)?")
"""Parts of a step's name that do not belong to the name of what it gave."""


@dataclass(frozen=True, slots=True)
class Noted:
    """What a run found and left of a parameter, in one of the ways that it was looked at.

    Attributes
    ----------
    found, left
        First and last value; None when there was none of that kind.
    adjusted
        A control was turned for it, or a cable cut.
    limit
        By which `found` was judged.
    verdict
        The worst that was passed on the last of the two; empty when none was.
    """

    parameter: Parameter
    found: Value | None
    left: Value | None
    adjusted: bool
    limit: LimitLine | None
    verdict: str

    @property
    def last(self) -> Value | None:
        """The later of the two."""
        return self.left or self.found


def noted_readings(steps: Steps) -> Iterator[Noted]:
    """Yield what the run measured at the station's points."""
    at_points = [line for line in _measured(steps) if not _AT_A_PLACE.search(line.key)]
    for line in summarise(at_points, steps.adjustments):
        first = line.found or line.left
        state = "" if line.variant == AROUND_PROFILE else _FOUND_OR_LEFT.sub("", line.variant)
        if first is not None and not _NOT_FOLLOWED.fullmatch(state):
            yield _reading(line, first.measurement, state)


def noted_results(entries: Sequence[Entry], steps: Steps) -> Iterator[Noted]:
    """Yield what the run computed from several readings and judged, such as the alignment.

    Parameters
    ----------
    entries
        The run's outcomes, in order.
    """
    measured = {
        (line.measurement.point, line.measurement.value, line.measurement.u)
        for line in _measured(steps)
    }
    grouped: dict[Parameter, list[tuple[Entry, Body]]] = defaultdict(list)
    for entry in entries:
        with rows.told(entry):
            request = rows.mapping(entry.body, "request")
            followed = request.get("do") == "judge" and not _DIFFERENCE.search(entry.key)
            if followed and _judged(request) not in measured:
                grouped[_parameter(entry.key, request)].append((entry, request))
    for parameter, judged in grouped.items():
        yield _result(parameter, judged)


def _measured(steps: Steps) -> list[Measured]:
    """Return what instruments showed, without the lines that stand for computed results."""
    return [line for line in steps.measured if line.measurement.source != COMPUTED]


def _reading(line: FoundLeft, first: Measurement, state: str) -> Noted:
    last = line.left or line.found
    worst = None if last is None else last.worst
    return Noted(
        parameter=Parameter(first.point, first.quantity, state, first.unit),
        found=_value(line.found),
        left=_value(line.left),
        adjusted=line.adjusted,
        limit=None if line.found is None else _widest(line.found),
        verdict="" if worst is None else worst.verdict,
    )


def _value(line: Measured | None) -> Value | None:
    if line is None:
        return None
    return Value(line.measurement.value, line.measurement.u, line.measurement.utc_ns)


def _widest(line: Measured) -> LimitLine | None:
    """Return the widest limit: a narrower one is the goal of an adjustment."""
    lines = [LimitLine(v.low, v.high, v.source, v.status) for v in line.verdicts]
    return max(lines, key=_width, default=None)


def _width(limit: LimitLine) -> float:
    if limit.low is None or limit.high is None:
        return float("inf")
    return limit.high - limit.low


def _judged(request: Body) -> tuple[str, float, float]:
    point = rows.text(request, "point")
    return point, rows.number(request, "value"), rows.number(request, "u")


def _parameter(key: str, request: Body) -> Parameter:
    parts = [part for part in key.split("/") if not _PASSING.fullmatch(part)]
    return Parameter(
        point=rows.text(request, "point"),
        quantity=rows.text(request, "quantity"),
        state=": ".join(parts),
        unit=str(request.get("unit", "1")),
    )


def _result(parameter: Parameter, judged: Sequence[tuple[Entry, Body]]) -> Noted:
    (first, said), (last, said_last) = judged[0], judged[-1]
    left = None if len(judged) == 1 else _result_value(last, said_last)
    limit = LimitLine(
        rows.number_or_none(said, "low"),
        rows.number_or_none(said, "high"),
        rows.text(said, "source"),
        rows.text(said, "status"),
    )
    return Noted(
        parameter=parameter,
        found=_result_value(first, said),
        left=left,
        adjusted=False,
        limit=limit,
        verdict=rows.text(said_last, "verdict"),
    )


def _result_value(entry: Entry, request: Body) -> Value:
    return Value(rows.number(request, "value"), rows.number(request, "u"), entry.utc_ns)
