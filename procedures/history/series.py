"""The history in a log: what each run found and left of each parameter.

A run counts whatever became of it: what was found before it was cut off was found all the same.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Final

from daq.errors import InputError
from daq.log.entry import Kind
from daq.log.reader import LogReader, RunSummary
from daq.toml_file import did_you_mean
from procedures.history.model import History, Parameter, Value, Visit
from procedures.history.noted import Noted, noted_readings, noted_results
from procedures.record.collect import CUT_OFF
from procedures.record.steps import Steps, read_steps

if TYPE_CHECKING:
    import pandas as pd

COLUMNS: Final[Mapping[str, str]] = {
    "parameter": "name of the parameter",
    "point": "test point",
    "quantity": "such as ddm",
    "state": "in which it was read; empty for the normal one",
    "run": "number of the run",
    "procedure": "what the run did",
    "result": "how the run ended",
    "time": "when it was first measured in the run, UTC",
    "found": "as found, SI; missing where nothing was found",
    "found_u": "its standard uncertainty",
    "left": "as left, SI; missing where it was measured once",
    "left_u": "its standard uncertainty",
    "adjusted": "a control was turned or a cable cut between the two",
    "verdict": "on what was left; empty when it was not judged",
    "low": "low end of the limit that it was judged by; missing where open",
    "high": "high end of that limit",
    "limit_source": "where that limit comes from",
    "limit_status": "how sure that source is",
}
"""Columns of `table`, and what each holds."""


def read_history(
    reader: LogReader, *, from_utc_ns: int | None = None, before_utc_ns: int | None = None
) -> History:
    """Return the visits of every parameter, optionally of runs begun in a period only.

    Raises
    ------
    LogDamaged
        A row is not what this program writes; the message names it.
    """
    found: dict[Parameter, list[Visit]] = defaultdict(list)
    for summary in reader.runs():
        began = summary.started_utc_ns
        if from_utc_ns is not None and began < from_utc_ns:
            continue
        if before_utc_ns is not None and began >= before_utc_ns:
            continue
        for parameter, visit in visits_of_run(reader, summary):
            found[parameter].append(visit)
    return {name: sorted(visits, key=lambda v: v.utc_ns) for name, visits in found.items()}


def visits_of_run(reader: LogReader, summary: RunSummary) -> list[tuple[Parameter, Visit]]:
    """Return what one run found and left of each parameter.

    Raises
    ------
    LogDamaged
        As `read_history`.
    """
    # Readings are most of a log and no part of a visit.
    entries = list(reader.entries(run=summary.run, kind=Kind.OUTCOME))
    steps = read_steps(entries)
    work = _moments_of_work(steps)
    grouped: dict[Parameter, list[Noted]] = defaultdict(list)
    for noted in (*noted_readings(steps), *noted_results(entries, steps)):
        grouped[noted.parameter].append(noted)
    visits = ((parameter, _visit(summary, lines, work)) for parameter, lines in grouped.items())
    return [(parameter, visit) for parameter, visit in visits if visit is not None]


def find_parameter(parameters: Iterable[Parameter], name: str) -> Parameter:
    """Return the parameter of that name, whatever its capitals.

    Raises
    ------
    InputError
        There is none; the message lists those that are there.
    """
    listed = tuple(parameters)
    for parameter in listed:
        if parameter.name.casefold() == name.strip().casefold():
            return parameter
    known = [parameter.name for parameter in listed]
    raise InputError(
        f"The log has no parameter '{name}' (there are: {', '.join(known) or 'none'}).",
        hint=did_you_mean(name, known),
    )


def table(history: History) -> pd.DataFrame:
    """Return a history as a table, one row a parameter and run; see `COLUMNS`."""
    import pandas as pd

    rows = [_row(parameter, visit) for parameter, visits in history.items() for visit in visits]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    frame["time"] = pd.to_datetime(frame["time"], unit="ns", utc=True)
    numbers = ["found", "found_u", "left", "left_u", "low", "high"]
    return frame.astype(dict.fromkeys(numbers, "float64"))


def _moments_of_work(steps: Steps) -> tuple[int, ...]:
    """Return when controls were captured and cables cut: either may move any parameter."""
    turned = [line.after.utc_ns for line in steps.adjustments]
    cut = [line.utc_ns for line in steps.cuts if line.confirmed]
    return (*turned, *cut)


def _visit(summary: RunSummary, lines: Sequence[Noted], work: Sequence[int]) -> Visit | None:
    found = min((n.found for n in lines if n.found), key=_moment, default=None)
    left = max((n.left for n in lines if n.left), key=_moment, default=None)
    first = found or left
    if first is None:
        return None
    adjusted = any(n.adjusted for n in lines) or (
        found is not None
        and left is not None
        and any(found.utc_ns < moment <= left.utc_ns for moment in work)
    )
    if adjusted and left is None:
        # The only value is the one that was captured after the control was turned.
        found, left = None, found
    return Visit(
        run=summary.run,
        procedure=str(summary.started.get("procedure", "")),
        result=CUT_OFF if summary.ended is None else str(summary.ended.get("result", "")),
        utc_ns=first.utc_ns,
        found=found,
        left=left,
        adjusted=adjusted,
        limit=None if found is None else next((n.limit for n in lines if n.found == found), None),
        verdict=next((n.verdict for n in lines if n.last == (left or found)), ""),
    )


def _moment(value: Value) -> int:
    return value.utc_ns


def _row(parameter: Parameter, visit: Visit) -> dict[str, object]:
    limit = visit.limit
    return {
        "parameter": parameter.name,
        "point": parameter.point,
        "quantity": parameter.quantity,
        "state": parameter.state,
        "run": visit.run,
        "procedure": visit.procedure,
        "result": visit.result,
        "time": visit.utc_ns,
        "found": _value(visit.found),
        "found_u": None if visit.found is None else visit.found.u,
        "left": _value(visit.left),
        "left_u": None if visit.left is None else visit.left.u,
        "adjusted": visit.adjusted,
        "verdict": visit.verdict,
        "low": None if limit is None else limit.low,
        "high": None if limit is None else limit.high,
        "limit_source": "" if limit is None else limit.source,
        "limit_status": "" if limit is None else limit.status,
    }


def _value(value: Value | None) -> float | None:
    return None if value is None else value.value
