"""What a history calls a single measurement or result, told while its run still goes on.

The naming itself is `procedures.history.noted`'s; here it is asked about one line alone, so that
what is shown of a reading, what is printed of it and what is followed over the years agree.
"""

from __future__ import annotations

from typing import Final

from daq.log.entry import Body, Entry, Kind
from daq.measurement import Measurement
from daq.reading import QUANTITIES
from procedures.history.model import Parameter, Value
from procedures.history.noted import noted_readings, noted_results
from procedures.record.model import Measured
from procedures.record.steps import Steps

WATCH: Final = "watch"
"""Procedure of a run that only watches a quantity; nobody sets a state in it."""


def normal_parameter(point: str, quantity: str) -> Parameter:
    """Return what a point is of in its normal state; the quantity is one that is read."""
    return Parameter(point, quantity, unit=QUANTITIES[quantity])


def parameter_of(line: Measured) -> Parameter | None:
    """Return what a measurement is of; None when it is not followed, such as one of a traverse."""
    told = noted_readings(Steps(measured=(line,)))
    return next((noted.parameter for noted in told), None)


def parameter_of_result(key: str, request: Body) -> Parameter | None:
    """Return what a judged result is of, such as the alignment; None when it is not followed.

    Parameters
    ----------
    key, request
        Of the verdict, as `procedures.engine.bench.Bench.judge` journals it.
    """
    row = Entry(0, 0, Kind.OUTCOME, key, 0, 0, {"request": request, "outcome": {}}, b"")
    return next((noted.parameter for noted in noted_results((row,), Steps())), None)


def value_of(measurement: Measurement) -> Value:
    """Return a measurement as a history keeps it."""
    return Value(measurement.value, measurement.u, measurement.utc_ns)
