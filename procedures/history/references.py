"""Reference values: what the last baseline left, against which every later reading is compared.

A set is fixed from a finished run by a named role and written into the log as one row; the next
set has the next version and says which one it supersedes. Nothing is ever edited: which set was
in force at any moment can be read back. Fixing is a run of its own, since a row added to the
baseline's run would change the digest that its signed record carries.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from daq.clock import iso_utc
from daq.errors import InputError, Refused
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader, RunSummary
from daq.log.writer import LogWriter
from daq.station import Station
from procedures.engine.run_started import started_body
from procedures.history.model import Parameter, Value, Visit, printed_unit
from procedures.history.series import visits_of_run
from procedures.judge import Verdict
from procedures.record import rows
from procedures.record.figures import with_uncertainty
from procedures.record.safe_text import visible

KEY: Final = "reference values"
"""Key of the row, and the word in its ``event``."""

PROCEDURE: Final = "fix-references"
_VERSION: Final = 1
_LONGEST_ROLE: Final = 80


Visits = Sequence[tuple[Parameter, Visit]]


@dataclass(frozen=True, slots=True)
class Reference:
    """One reference value: SI, with its standard uncertainty."""

    value: float
    u: float
    quantity: str
    unit: str

    def taken_from(self, reading: Value, version: int) -> Difference:
        """Return a reading less this reference value, which is of the set of that version."""
        return Difference(
            value=reading.value - self.value,
            u=math.hypot(reading.u, self.u),
            version=version,
            reference=self,
        )

    def __str__(self) -> str:
        words = with_uncertainty(self.quantity, self.value, self.u)
        return f"{words} {printed_unit(self.quantity, self.unit)}".strip()


@dataclass(frozen=True, slots=True)
class ReferenceSet:
    """The reference values of one version.

    Attributes
    ----------
    version
        From 1.
    run
        The baseline that they come from.
    signed_by
        The role that answers for them.
    fixed_utc_ns
        From when they are in force.
    supersedes
        The version before; None for the first.
    values
        By name of the parameter.
    """

    version: int
    run: int
    signed_by: str
    fixed_utc_ns: int
    supersedes: int | None
    values: Mapping[str, Reference]

    def of(self, parameter: Parameter) -> Reference | None:
        """Return the reference value of a parameter; None without one of that very kind."""
        found = self.values.get(parameter.name)
        same = found is not None and (found.quantity, found.unit) == (
            parameter.quantity,
            parameter.unit,
        )
        return found if same else None

    def less(self, parameter: Parameter, reading: Value) -> Difference | None:
        """Return a reading of a parameter less its reference value; None without one."""
        reference = self.of(parameter)
        return None if reference is None else reference.taken_from(reading, self.version)


@dataclass(frozen=True, slots=True)
class Difference:
    """A reading less its reference.

    Attributes
    ----------
    value
        SI.
    u
        Standard uncertainty, both taken as independent (JCGM 100:2008, 5.1.2). Where the same
        instrument read both, its own error cancels in part and this is more than the truth.
    version
        Of the reference in force.
    reference
        The reference value itself.
    """

    value: float
    u: float
    version: int
    reference: Reference

    def __str__(self) -> str:
        quantity, unit = self.reference.quantity, self.reference.unit
        words = with_uncertainty(quantity, self.value, self.u)
        # What lies between two levels in dBm is in dB.
        return f"{words} {printed_unit(quantity, unit).replace('dBm', 'dB')}".strip()


def all_versions(reader: LogReader) -> tuple[ReferenceSet, ...]:
    """Return all sets in the log, oldest first.

    Raises
    ------
    LogDamaged
        A row is not what this program writes.
    """
    found = []
    for entry in reader.entries(kind=Kind.EVENT):
        if entry.key == KEY:
            with rows.told(entry):
                found.append(_read(entry))
    return tuple(found)


def current(reader: LogReader, at_utc_ns: int) -> ReferenceSet | None:
    """Return the set that was in force at a moment; None before the first was fixed."""
    return in_force(all_versions(reader), at_utc_ns)


def standing_in(log: Path, at_utc_ns: int) -> ReferenceSet | None:
    """Return the set that was in force at a moment by the log at a path; None before the first.

    Raises
    ------
    InputError
        There is no such log.
    LogDamaged
        A row is not what this program writes.
    """
    with LogReader(log) as reader:
        return current(reader, at_utc_ns)


def in_force(versions: tuple[ReferenceSet, ...], at_utc_ns: int) -> ReferenceSet | None:
    """Return the newest set fixed by `at_utc_ns`."""
    fixed = [version for version in versions if version.fixed_utc_ns <= at_utc_ns]
    return fixed[-1] if fixed else None


def difference(
    versions: tuple[ReferenceSet, ...], parameter: Parameter, reading: Value
) -> Difference | None:
    """Return a reading less the reference in force when it was taken; None without one."""
    standing = in_force(versions, reading.utc_ns)
    return None if standing is None else standing.less(parameter, reading)


def fix_references(writer: LogWriter, station: Station, run: int, signed_by: str) -> ReferenceSet:
    """Fix what a finished run left as the reference values, and return them.

    Raises
    ------
    InputError
        There is no such run, or the role is not named.
    Refused
        The run did not finish, left something out of tolerance or not put back, measured
        nothing, or is the one that is in force already.
    LogDamaged
        The log's chain does not hold: nothing in it can be a reference.
    LogError
        The log could not be written.
    """
    role = _role(signed_by)
    with LogReader(writer.path) as reader:
        reader.verify()
        summary = reader.run(run)
        _check_run(summary)
        versions = all_versions(reader)
        left = visits_of_run(reader, summary)
    _check_verdicts(run, left)
    values = _values_of(left)
    if versions and versions[-1].run == run:
        raise Refused(
            f"Run {run} is already the reference, as version {versions[-1].version}, fixed "
            f"{iso_utc(versions[-1].fixed_utc_ns)[:10]} by {versions[-1].signed_by}."
        )
    if not values:
        raise Refused(f"Run {run} left no measurement in a normal state; it fixes nothing.")
    supersedes = versions[-1].version if versions else None
    body: Body = {
        "event": KEY,
        "version": (supersedes or 0) + 1,
        "run": run,
        "signed_by": role,
        "supersedes": supersedes,
        "values": values,
    }
    return _write(writer, station, role, body)


def _write(writer: LogWriter, station: Station, role: str, body: Body) -> ReferenceSet:
    run = writer.next_run()
    started = started_body(PROCEDURE, _VERSION, station, (), operator=role)
    writer.append(run, Kind.RUN_STARTED, PROCEDURE, started)
    entry = writer.append(run, Kind.EVENT, KEY, body)
    end = {"result": "finished", "message": "", "open_hazards": []}
    writer.append(run, Kind.RUN_ENDED, "finished", end)
    return _read(entry)


def _role(signed_by: str) -> str:
    role = " ".join(signed_by.split())
    if not role or len(role) > _LONGEST_ROLE or visible(role) != role:
        raise InputError(
            f"'{visible(signed_by)}' names no role.",
            hint=f'say who answers for the values, such as --signed-by "maintenance supervisor" '
            f"(at most {_LONGEST_ROLE} characters).",
        )
    return role


def _check_run(summary: RunSummary) -> None:
    ended = summary.ended
    result = "cut off" if ended is None else str(ended.get("result"))
    if result != "finished" or ended is None:
        raise Refused(
            f"Run {summary.run} did not finish ({result}); references come from a finished run.",
            hint="`trimbench runs` lists the runs and how they ended.",
        )
    if ended.get("open_hazards"):
        raise Refused(f"Run {summary.run} ended with something not confirmed as put back.")


def _check_verdicts(run: int, left: Visits) -> None:
    for parameter, visit in left:
        if visit.verdict == Verdict.OUT_OF_TOLERANCE:
            raise Refused(
                f"Run {run} left '{parameter.name}' out of tolerance; a reference must not be.",
                hint="bring it into tolerance in a new run and fix that one.",
            )


def _values_of(left: Visits) -> dict[str, dict[str, object]]:
    return {
        parameter.name: {
            "value": visit.last.value,
            "u": visit.last.u,
            "quantity": parameter.quantity,
            "unit": parameter.unit,
            "utc_ns": visit.last.utc_ns,
        }
        for parameter, visit in left
        if visit.last is not None
    }


def _read(entry: Entry) -> ReferenceSet:
    body = entry.body
    supersedes = rows.number_or_none(body, "supersedes")
    values = rows.mapping(body, "values")
    return ReferenceSet(
        version=int(rows.number(body, "version")),
        run=int(rows.number(body, "run")),
        signed_by=rows.text(body, "signed_by"),
        fixed_utc_ns=entry.utc_ns,
        supersedes=None if supersedes is None else int(supersedes),
        values={name: _reference(rows.mapping(values, name)) for name in values},
    )


def _reference(body: Body) -> Reference:
    return Reference(
        value=rows.number(body, "value"),
        u=rows.number(body, "u"),
        quantity=rows.text(body, "quantity"),
        unit=rows.text(body, "unit"),
    )
