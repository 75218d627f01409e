"""Watch and log one quantity, without a procedure."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from daq.clock import Clock, elapsed_s
from daq.errors import BenchError
from daq.journal import Journal
from daq.reading import QUANTITIES, Reading
from daq.roles import Instrument, WatchCommand, WatchView
from daq.steadiness import Watch
from procedures.engine.taking import take
from procedures.engine.watch_view import settle_for, view_of
from procedures.history.references import Reference

Show = Callable[[WatchView], WatchCommand]
"""Somebody who sees each view and says how to go on: an operator's ``watching``."""


@dataclass(frozen=True, slots=True)
class WatchTask:
    """What is watched, and for how long.

    Attributes
    ----------
    quantity, point, channel
        As in `daq.roles.Instrument.measure`.
    target, band
        Wanted value and accepted distance, SI unit of the quantity; None when just watching.
    seconds
        How long; None until it is stopped.
    key
        Under which the readings are logged.
    reference
        Of what is watched; shown beside it. None without one.
    """

    quantity: str
    point: str = ""
    channel: str = ""
    target: float | None = None
    band: float | None = None
    seconds: float | None = None
    key: str = "watch"
    reference: Reference | None = None


@dataclass(frozen=True, slots=True)
class WatchSummary:
    """What was seen.

    Attributes
    ----------
    quantity, unit
        What was watched, and the SI unit of the values below.
    n, not_usable
        Readings with a value, and those without.
    mean, minimum, maximum, last
        Of the readings with a value; None when there was none.
    rate_hz
        Readings per second, all of them.
    elapsed_s
        How long it took, s.
    reference, difference
        Reference value of what was watched, and the mean less it; None without one.
    """

    quantity: str
    unit: str
    n: int
    not_usable: int
    mean: float | None
    minimum: float | None
    maximum: float | None
    last: float | None
    rate_hz: float
    elapsed_s: float
    reference: float | None = None
    difference: float | None = None


def run_watch(
    instrument: Instrument, task: WatchTask, *, journal: Journal, clock: Clock, show: Show
) -> WatchSummary:
    """Read, log and show until the time is over or `show` says ``abort``.

    ``capture`` marks the moment in the log and goes on; ``redo`` begins the smoothed value and
    the figures again. Each reading is on the disk before it is shown.

    Raises
    ------
    BenchError
        The instrument failed; the gap is in the log.
    LogError
        A reading could not be written.
    """
    start_ns = clock.monotonic_ns()
    watch, figures = _new_watch(task), _Figures()
    said = f"Watching {task.quantity} by {instrument.alias}."
    if task.point:
        said = f"Watching {task.quantity} at '{task.point}' by {instrument.alias}."
    while task.seconds is None or elapsed_s(clock, start_ns) < task.seconds:
        reading = _logged(instrument, task, journal)
        watch.add(reading)
        figures.add(reading)
        command = show(
            view_of(
                watch,
                reading,
                key=task.key,
                instruction=said,
                control="",
                band=task.band,
                reference=task.reference,
            )
        )
        if command == "abort":
            break
        if command == "capture" and reading.usable:
            journal.event(task.key, {"event": "marked", "shown": watch.shown})
        if command == "redo":
            journal.event(task.key, {"event": "watch begun again"})
            watch, figures = _new_watch(task), _Figures()
    return figures.summary(task, watch.rate_hz, elapsed_s(clock, start_ns))


def _new_watch(task: WatchTask) -> Watch:
    return Watch(target=task.target, settle=settle_for(task.quantity, task.target, task.band))


def _logged(instrument: Instrument, task: WatchTask, journal: Journal) -> Reading:
    try:
        reading = take(instrument, task.quantity, point=task.point, channel=task.channel)
    except BenchError as error:
        journal.event(task.key, {"event": "gap", "error": error.details()})
        raise
    journal.reading(task.key, reading)
    return reading


@dataclass
class _Figures:
    """Running figures: a day's watch takes no more memory than a second's."""

    n: int = 0
    not_usable: int = 0
    mean: float = 0.0
    minimum: float = math.inf
    maximum: float = -math.inf
    last: float = math.nan

    def add(self, reading: Reading) -> None:
        if not reading.usable:
            self.not_usable += 1
            return
        self.n += 1
        self.last = reading.value
        self.mean += (reading.value - self.mean) / self.n
        self.minimum = min(self.minimum, reading.value)
        self.maximum = max(self.maximum, reading.value)

    def summary(self, task: WatchTask, rate_hz: float, took_s: float) -> WatchSummary:
        seen = self.n > 0
        reference = None if task.reference is None else task.reference.value
        return WatchSummary(
            quantity=task.quantity,
            unit=QUANTITIES[task.quantity],
            n=self.n,
            not_usable=self.not_usable,
            mean=self.mean if seen else None,
            minimum=self.minimum if seen else None,
            maximum=self.maximum if seen else None,
            last=self.last if seen else None,
            rate_hz=rate_hz,
            elapsed_s=took_s,
            reference=reference,
            difference=self.mean - reference if seen and reference is not None else None,
        )
