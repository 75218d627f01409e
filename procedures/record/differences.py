"""What a run read beside the reference values in force: for each parameter, and for each reading.

What a value is of is told by the history (`procedures.history.parameters`), so that a point with
the quadrature line in is never compared with its normal reference value.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from daq.log.entry import Entry, Kind
from daq.log.reader import LogReader
from daq.reading import Quality
from procedures.history.model import Parameter, Value
from procedures.history.parameters import WATCH, normal_parameter, parameter_of
from procedures.history.references import (
    Difference,
    ReferenceSet,
    all_versions,
    difference,
    in_force,
)
from procedures.history.series import visits_of_run
from procedures.record import rows
from procedures.record.model import ComparedLine
from procedures.record.steps import read_steps


def compared_lines(reader: LogReader, run: int) -> tuple[ComparedLine, ...]:
    """Return what a run found and left of each parameter beside its reference value.

    Empty where no reference value was in force.

    Raises
    ------
    InputError
        There is no such run.
    LogDamaged
        A row is not what this program writes.
    """
    summary = reader.run(run)
    versions = all_versions(reader)
    if not versions:
        return ()
    lines = (
        _line(versions, parameter, when, value)
        for parameter, visit in visits_of_run(reader, summary)
        for when, value in (("as found", visit.found), ("as left", visit.left))
        if value is not None
    )
    return tuple(line for line in lines if line is not None)


def _line(
    versions: tuple[ReferenceSet, ...], parameter: Parameter, when: str, value: Value
) -> ComparedLine | None:
    standing = in_force(versions, value.utc_ns)
    less = None if standing is None else standing.less(parameter, value)
    if standing is None or less is None:
        return None
    return ComparedLine(parameter, when, value, standing, less)


@dataclass(frozen=True, slots=True)
class ReadingsCompared:
    """Compares the readings of one run, one by one.

    Attributes
    ----------
    versions
        The sets that were fixed by the end of the run, oldest first; none when there was none, so
        that what is fixed later does not change what is written of a run.
    parameters
        What each step of the run read; a step that was cut off, or that reads something which is
        not followed over the years, is not among them.
    watched
        The run only watched points as they were.
    """

    versions: tuple[ReferenceSet, ...]
    parameters: Mapping[str, Parameter]
    watched: bool

    @classmethod
    def of(cls, reader: LogReader, run: int) -> Self:
        """Return what compares the readings of a run.

        Raises
        ------
        InputError
            There is no such run.
        LogDamaged
            A row is not what this program writes.
        """
        summary = reader.run(run)
        versions = tuple(
            each for each in all_versions(reader) if each.fixed_utc_ns <= summary.last_utc_ns
        )
        steps = read_steps(list(reader.entries(run=run, kind=Kind.OUTCOME)) if versions else [])
        told = ((line.key, parameter_of(line)) for line in steps.measured)
        parameters = {key: parameter for key, parameter in told if parameter is not None}
        return cls(versions, parameters, watched=summary.started.get("procedure") == WATCH)

    def difference(self, entry: Entry) -> Difference | None:
        """Return a reading's row less the reference value in force then; None without one."""
        body = entry.body
        value = rows.number_or_none(body, "value")
        if value is None or rows.text(body, "quality") != Quality.OK:
            return None
        parameter = self.parameters.get(entry.key)
        if self.watched:
            parameter = normal_parameter(rows.text(body, "point"), rows.text(body, "quantity"))
        if parameter is None:
            return None
        u = rows.number_or_none(body, "u")
        known = Value(value, math.nan if u is None else u, entry.utc_ns)
        return difference(self.versions, parameter, known)
