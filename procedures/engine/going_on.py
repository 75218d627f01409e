"""What the log says of a run that is to be gone on with, and whether it still can be."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import InputError, Refused
from daq.journal import RESUMED, Journal, recorded_outcomes, times_taken_up
from daq.log.entry import Body, Entry, Kind
from daq.log.reader import LogReader, RunSummary
from daq.log.writer import LogWriter
from daq.roles import Operator
from procedures.engine.hazards import standing
from procedures.engine.left_open import happened, open_hazards
from procedures.engine.put_back import see_undone
from procedures.engine.taking_up import TakeUp, ending_of


@dataclass(frozen=True, slots=True)
class Earlier:
    """A run that was cut off, or that ended so that it can be taken up.

    Attributes
    ----------
    summary
        Its first and last rows.
    rows
        Everything that happened in it, in order; no readings.
    take_up
        How it is taken up; None for one that was cut off.
    open_hazards
        What was not confirmed as put back, in words.
    """

    summary: RunSummary
    rows: tuple[Entry, ...]
    take_up: TakeUp | None
    open_hazards: tuple[str, ...]

    @property
    def recorded(self) -> tuple[Entry, ...]:
        """Its outcomes, also those that hold no more once it is taken up."""
        return recorded_outcomes(self.rows)

    def go_on(self, writer: LogWriter) -> Journal:
        """Write that the run is gone on with, and return its journal with what holds."""
        take_up = self.take_up or TakeUp(len(self.recorded))
        body = {
            "event": RESUMED,
            "outcomes": take_up.holds,
            "turned": list(take_up.turned),
            "moved": take_up.moved,
        }
        run = self.summary.run
        rows = (*self.rows, writer.append(run, Kind.EVENT, RESUMED, body))
        return Journal(writer, run, recorded_outcomes(rows), times_taken_up(rows))


def earlier_of(reader: LogReader, run: int) -> Earlier:
    """Return what a run is gone on with.

    Raises
    ------
    InputError
        There is no such run, or it has ended for good.
    Refused
        A later run changed the station, so that what this one read holds no more.
    """
    summary = reader.run(run)
    rows = tuple(happened(reader, run))
    ending = ending_of(rows)
    take_up = None if ending is None else _take_up_of(run, ending)
    _check_unchanged(reader, run)
    # Of a run that was only cut off everything still stands as it was.
    still_open = () if ending is None else open_hazards(reader, summary)
    return Earlier(summary, rows, take_up, still_open)


def take_up(operator: Operator, writer: LogWriter, earlier: Earlier) -> None:
    """Say from where a run that had ended is taken up, and see undone what was not put back.

    Raises
    ------
    Refused
        Something that is set anew still stands: what is read before it is set would be untrue.
    """
    if earlier.take_up is None:
        return
    run = earlier.summary.run
    for hazard in earlier.open_hazards:
        operator.tell(
            f"CAUTION: when the run ended it was not confirmed that this was put back: {hazard}. "
            "See that it is normal before you go on; it is set anew."
        )
    still = standing(earlier.rows)
    see_undone(operator, Journal(writer, run), still, "It was not confirmed as put back:")
    for left in still.values():
        raise Refused(
            f"Run {run} is not taken up: {left.what}.",
            hint=f"put it back to normal, then `trimbench resume {run}` again.",
        )
    anew = earlier.recorded[earlier.take_up.holds :]
    if anew:
        operator.tell(f"The run is taken up at '{anew[0].key}'; what came after is done anew.")
    for control in earlier.take_up.turned:
        operator.tell(f"'{control}' was turned since and stays as it is.")
    operator.tell("Everything else is taken to be connected and set as it was when the run ended.")


def _take_up_of(run: int, ending: Body) -> TakeUp:
    take_up = TakeUp.from_body(ending)
    if take_up.holds is None:
        why = f": {take_up.why_not}" if take_up.why_not else "; there is nothing to resume"
        raise InputError(
            f"Run {run} has ended ({ending.get('result')}){why}.",
            hint="`trimbench run` begins a new one.",
        )
    return take_up


def _check_unchanged(reader: LogReader, run: int) -> None:
    """See that no later run turned a control or cut a cable: what was read before holds no more."""
    rows = (entry for kind in (Kind.OUTCOME, Kind.RUN_ENDED) for entry in reader.entries(kind=kind))
    for entry in rows:
        if entry.run > run and (what := _changed(entry)):
            raise Refused(
                f"Run {run} cannot be gone on with: run {entry.run} changed the station since "
                f"({what}), so that what run {run} read holds no more.",
                hint="see that nothing is left as run "
                f"{run} set it, and begin a new one: `trimbench run`.",
            )


def _changed(entry: Entry) -> str:
    """Return what was changed at the station, in words; empty for nothing."""
    if entry.kind is Kind.RUN_ENDED:
        # One that was turned without a value captured has no outcome.
        return ", ".join(f"'{each}' was turned" for each in TakeUp.from_body(entry.body).turned)
    request, outcome = entry.body.get("request"), entry.body.get("outcome")
    if not isinstance(request, dict) or not isinstance(outcome, dict):
        return ""
    if request.get("do") == "adjust":
        return f"'{request.get('control')}' was turned"
    if str(request.get("verb", "")).startswith("cut") and outcome.get("answer"):
        return f"a cable was cut at '{entry.key}'"
    return ""
