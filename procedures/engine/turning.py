"""A value shown live while a hand is on a control, until it is captured."""

from __future__ import annotations

from dataclasses import dataclass

from daq.errors import Aborted
from daq.log.entry import Body
from daq.roles import Operator
from daq.station import Point
from daq.steadiness import Watch
from procedures.engine.point_reader import PointReader
from procedures.engine.watch_view import settle_for, view_of
from procedures.history.references import Reference


@dataclass(frozen=True, slots=True)
class Turning:
    """A control under a hand.

    Attributes
    ----------
    key, point
        Step of the run, and where the value is read.
    control, instruction
        What is turned, and what is said about it.
    target, band
        Wanted value and accepted distance, SI unit of the point's quantity.
    reference
        What is shown beside the value; None without one.
    """

    key: str
    point: Point
    control: str
    instruction: str
    target: float
    band: float
    reference: Reference | None

    def watch(self) -> Watch:
        """Return the watch of a value that nobody has seen yet."""
        settle = settle_for(self.point.quantity, self.target, self.band)
        return Watch(target=self.target, settle=settle)


def watch_turning(turning: Turning, reader: PointReader, operator: Operator) -> Body:
    """Show each reading to the operator until the value is captured; return the outcome.

    Raises
    ------
    Aborted
        The operator stopped it.
    BenchError
        The instrument failed.
    """
    key, watch = turning.key, turning.watch()
    while True:
        reading = reader.read(key, turning.point)
        watch.add(reading)
        view = view_of(
            watch,
            reading,
            key=key,
            instruction=turning.instruction,
            control=turning.control,
            band=turning.band,
            reference=turning.reference,
        )
        command = operator.watching(view)
        if command == "abort":
            raise Aborted(f"Stopped by the {operator.name} at '{key}'.")
        if command == "redo":
            reader.journal.event(key, {"event": "adjustment begun again"})
            watch = turning.watch()
        if command == "capture" and watch.shown == watch.shown:
            break
    after = reader.settled(key, turning.point)
    return {
        "after": after.to_body(),
        "readings": watch.count,
        "elapsed_s": watch.elapsed_s,
        "best": watch.best if watch.best is not None else after.value,
    }
