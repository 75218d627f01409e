"""The journal of one run: each outcome under a stable key, so that a cut-off run can go on.

Resuming runs the same procedure again. Outcomes that are recorded are returned in order without
asking or reading anything; the first call that has none goes live. A journal that does not match
the procedure is refused with the first difference.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from daq.errors import JournalMismatch
from daq.log.entry import Body, Entry, Kind, canonical
from daq.log.writer import LogWriter
from daq.reading import Reading

RESUMED: Final = "resumed"
"""The event with which a run is gone on with."""


@dataclass(frozen=True, slots=True)
class TakenUp:
    """A run was taken up again, and hands had done something that is no part of it any more.

    Attributes
    ----------
    at
        How many outcomes held.
    turned
        Controls that were turned since and stayed as they were.
    moved
        An instrument was connected or carried elsewhere since.
    """

    at: int
    turned: frozenset[str] = frozenset()
    moved: bool = False


def reading_body(reading: Reading) -> dict[str, object]:
    """Return a reading as its row in the log; a value that is no number becomes None."""
    return {
        "quantity": reading.quantity,
        "point": reading.point,
        "value": finite(reading.value),
        "unit": reading.unit,
        "u": finite(reading.u),
        "source": reading.source,
        "quality": str(reading.quality),
        "raw": reading.raw,
        "took_ns": reading.took_ns,
    }


def recorded_outcomes(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Return the outcomes that a run is gone on with, in order.

    A run that was ended and is taken up goes back to where nothing was set that was put back at
    its end; the row ``resumed`` says how many outcomes still held then. What came after those is
    no part of it any more, and stays in the log as what was done.

    Parameters
    ----------
    entries
        The run's rows, in order.
    """
    held: list[Entry] = []
    for entry in entries:
        if entry.kind is Kind.OUTCOME:
            held.append(entry)
        elif entry.kind is Kind.EVENT and entry.body.get("event") == RESUMED:
            still = entry.body.get("outcomes")
            del held[still if isinstance(still, int) else len(held) :]
    return tuple(held)


def times_taken_up(entries: Iterable[Entry]) -> tuple[TakenUp, ...]:
    """Return where a run was taken up, as far as hands had done something that no longer holds.

    One that is taken up further back later moves back with it: what was turned stays turned.

    Parameters
    ----------
    entries
        The run's rows, in order.
    """
    found: list[TakenUp] = []
    for entry in entries:
        if entry.kind is not Kind.EVENT or entry.body.get("event") != RESUMED:
            continue
        at = entry.body.get("outcomes")
        if not isinstance(at, int):
            continue
        found = [replace(each, at=min(each.at, at)) for each in found]
        turned = entry.body.get("turned")
        controls = frozenset(str(each) for each in turned) if isinstance(turned, list) else ()
        moved = entry.body.get("moved") is True
        if controls or moved:
            found.append(TakenUp(at, frozenset(controls), moved))
    return tuple(found)


def finite(value: float | None) -> float | None:
    """Return `value`, or None where JSON could not hold it."""
    return value if value is not None and math.isfinite(value) else None


@dataclass
class Journal:
    """Outcomes, readings and events of one run.

    Attributes
    ----------
    writer
        The log; written before anything is shown.
    run
        Number of the run.
    recorded
        Outcome rows of the part that was done before, in order; empty for a new run.
    taken_up
        Where it was taken up after something that no longer holds had been done by hand.
    deeds
        What each outcome of the procedure did by now, recorded ones and new ones, in order.
    """

    writer: LogWriter
    run: int
    recorded: Sequence[Entry] = ()
    taken_up: Sequence[TakenUp] = ()
    deeds: list[str] = field(default_factory=list, init=False)
    _keys: set[str] = field(default_factory=set)

    @property
    def done(self) -> int:
        """How many outcomes the procedure has by now, recorded ones and new ones."""
        return len(self.deeds)

    @property
    def replaying(self) -> bool:
        """Whether the next outcome is already recorded."""
        return self.done < len(self.recorded)

    def outcome(self, key: str, request: Body, live: Callable[[], Body]) -> Body:
        """Return the recorded outcome of a step, or do the step and record what came out.

        Parameters
        ----------
        key
            Unique within the run, the same each time that the procedure runs.
        request
            What was asked, in terms that JSON can hold; compared with the recorded one.
        live
            Does the step and returns its outcome.

        Raises
        ------
        JournalMismatch
            The recorded step has another key, or asked something else.
        LogError
            The outcome could not be written.
        """
        if key in self._keys:
            raise JournalMismatch(f"The procedure used the step name '{key}' twice.")
        self._keys.add(key)
        if self.replaying:
            entry = self.recorded[self.done]
            self._check(entry, key, request)
            self.deeds.append(str(request.get("do", "")))
            outcome = entry.body["outcome"]
            if not isinstance(outcome, Mapping):
                raise JournalMismatch(f"The recorded outcome of '{key}' is not an object.")
            return outcome
        result = live()
        self.writer.append(
            self.run, Kind.OUTCOME, key, {"request": dict(request), "outcome": dict(result)}
        )
        self.deeds.append(str(request.get("do", "")))
        return result

    def turned_since(self, number: int, control: str) -> bool:
        """Whether a control may have been turned, unseen by the outcomes, since that outcome."""
        return any(
            number < each.at <= self.done and control in each.turned for each in self.taken_up
        )

    def moved_since(self, number: int) -> bool:
        """Whether an instrument may have been moved, unseen by the outcomes, since that outcome."""
        return any(number < each.at <= self.done and each.moved for each in self.taken_up)

    def reading(self, key: str, reading: Reading) -> Entry:
        """Put one reading of step `key` on the disk; show it only after this returns."""
        return self.writer.append(
            self.run,
            Kind.READING,
            key,
            reading_body(reading),
            utc_ns=reading.utc_ns,
            mono_ns=reading.mono_ns,
        )

    def event(self, key: str, body: Body) -> Entry:
        """Record something that happened and is no outcome: a gap, a retry, a clock that jumped."""
        return self.writer.append(self.run, Kind.EVENT, key, body)

    def _check(self, entry: Entry, key: str, request: Body) -> None:
        if entry.key != key:
            raise JournalMismatch(
                f"Run {self.run} cannot be resumed: at this point it did '{entry.key}' "
                f"(row {entry.seq}), but the procedure now does '{key}'.",
                hint="resume it with the trimbench version that began it, or begin a new run.",
            )
        recorded = entry.body["request"]
        if canonical(recorded) != canonical(dict(request)):
            name, was, is_ = _first_difference(recorded, request)
            raise JournalMismatch(
                f"Run {self.run} cannot be resumed: at '{key}' (row {entry.seq}) {name} was "
                f"{was!r} and is now {is_!r}.",
                hint="resume it with the trimbench version that began it, or begin a new run.",
            )


def _first_difference(recorded: object, request: Body) -> tuple[str, object, object]:
    if not isinstance(recorded, Mapping):
        return "the request", recorded, dict(request)
    for name in sorted({*recorded, *request}):
        if canonical(recorded.get(name)) != canonical(request.get(name)):
            return f"'{name}'", recorded.get(name), request.get(name)
    return "the request", recorded, dict(request)
