"""The time to an alarm: from leaving the limits, or from an act, until the alarm unit says so."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final

from daq.errors import Aborted
from daq.log.entry import Body
from daq.reading import Reading
from daq.steadiness import Watch
from procedures.engine.watch_view import settle_for, view_of
from procedures.steps.alarm_unit import NS_PER_S, AlarmUnit, parameters_in

ACT_POLL_S: Final = 0.05
"""Between two looks at the alarm unit after an act."""


@dataclass(frozen=True, slots=True)
class AlarmWatch:
    """What is turned, and when the parameter counts as out.

    Attributes
    ----------
    point, control
        What is read, and under whose hand.
    normal, target
        Reading before, and to which the hand turns; SI.
    quiet, alarmed
        Readings between which the alarm's actual point lies.
    hold_s
        How long the control is held at the target before the alarm counts as missing.
    poll_s
        Between two looks at the alarm unit.
    """

    point: str
    control: str
    normal: float
    quiet: float
    alarmed: float
    target: float
    hold_s: float
    poll_s: float

    def past(self, value: float, edge: float) -> bool:
        """Whether a reading lies beyond `edge`, seen from normal."""
        return (value - edge) * (self.target - self.normal) > 0.0


@dataclass(frozen=True, slots=True)
class AlarmSeen:
    """What came of it.

    Attributes
    ----------
    alarm
        The alarm of the parameter that is tried came.
    time_s, u_s
        From leaving the limits to the alarm, and its standard uncertainty; None when one of the
        two moments was not seen.
    others
        Points of other parameters that were in alarm without it.
    """

    alarm: bool
    time_s: float | None
    u_s: float | None
    others: tuple[str, ...] = ()


@dataclass
class _Moments:
    """The stretch of time in which something happened, ns."""

    before_ns: int
    after_ns: int | None = None

    @property
    def middle_ns(self) -> float:
        return (self.before_ns + self._end_ns) / 2.0

    @property
    def half_ns(self) -> float:
        """Farthest that the moment can lie from the middle."""
        return (self._end_ns - self.before_ns) / 2.0

    @property
    def _end_ns(self) -> int:
        return self.before_ns if self.after_ns is None else self.after_ns


@dataclass
class _Listener:
    """Asks the unit again and again, and keeps when the alarm came and what came instead."""

    unit: AlarmUnit
    key: str
    moments: _Moments = field(init=False)
    others: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        self.moments = _Moments(self.unit.bench.clock.monotonic_ns())

    def came(self) -> bool:
        """Ask whether the alarm of the parameter that is tried is there now."""
        found = self.unit.look(self.key)
        now_ns = self.unit.bench.clock.monotonic_ns()
        if found == "own":
            self.moments.after_ns = now_ns
            return True
        self.moments.before_ns = now_ns
        if found == "another" and not self.others:
            # Once: to ask every parameter at each look would blur the moment of the alarm.
            self.others = self.unit.names(self.key)
            self.unit.bench.tell(
                f"In alarm: {', '.join(self.others)}. That is not what is tried, and is not taken "
                "for it."
            )
        return False

    def outcome(self, out: _Moments) -> Body:
        """Return what came of it for the journal; `out` is when the parameter left its limits."""
        alarm, others = self.moments.after_ns is not None, list(self.others)
        if not alarm or out.after_ns is None:
            return {"alarm": alarm, "time_s": None, "u_s": None, "parameters": others}
        # Limits of error (JCGM 100:2008, 4.3.7). The readings beat with the unit's delay, so that
        # both moments may lie at their far ends again and again: they are added, not squared.
        u_ns = (out.half_ns + self.moments.half_ns) / math.sqrt(3.0)
        time_ns = max(0.0, self.moments.middle_ns - out.middle_ns)
        return {
            "alarm": True,
            "time_s": time_ns / NS_PER_S,
            "u_s": u_ns / NS_PER_S,
            "parameters": others,
        }


def watch_for_alarm(unit: AlarmUnit, key: str, watch: AlarmWatch, instruction: str) -> AlarmSeen:
    """Show the reading live while a hand turns the control, until the alarm comes or is missing.

    Raises
    ------
    Aborted
        The technician stopped it.
    BenchError
        An instrument failed and was not mended.
    """
    request = {
        "do": "watch for alarm",
        "point": watch.point,
        "control": watch.control,
        "target": watch.target,
        "quiet": watch.quiet,
        "alarmed": watch.alarmed,
    }
    return _outcome(unit, key, request, lambda: _watch(unit, key, watch, instruction))


def time_from_act(
    unit: AlarmUnit, key: str, began_ns: int, acted_ns: int, limit_s: float
) -> AlarmSeen:
    """Wait for an alarm after an act that lies between two moments.

    For what is switched off and not turned; the moments are the clock's before the act was asked
    for and after it was confirmed.

    Raises
    ------
    BenchError
        The unit failed and was not mended.
    """

    def live() -> Body:
        listener = _Listener(unit, key)
        while not listener.came():
            if listener.moments.before_ns - acted_ns > limit_s * NS_PER_S:
                break
            unit.bench.clock.sleep(ACT_POLL_S)
        return listener.outcome(_Moments(began_ns, acted_ns))

    return _outcome(unit, key, {"do": "time to alarm", "within_s": limit_s}, live)


def _outcome(unit: AlarmUnit, key: str, request: Body, live: Callable[[], Body]) -> AlarmSeen:
    bench = unit.bench
    body = bench.journal.outcome(key, request, lambda: bench.patiently(key, live))
    seen = _seen(body)
    if seen.others:
        came = {"parameters": ", ".join(seen.others), "own_alarm_came": seen.alarm}
        bench.note(f"{key}/others", "Alarm of another parameter", came)
    return seen


def _watch(unit: AlarmUnit, key: str, given: AlarmWatch, instruction: str) -> Body:
    bench = unit.bench
    point = bench.station.point(given.point)
    band = abs(given.target - given.normal) * 0.1
    shown = Watch(target=given.target, settle=settle_for(point.quantity, given.target, band))
    reminders = " ".join(f"Reminder: {hazard.what}." for hazard in bench.hazards.values())
    said = f"{instruction} {reminders}".rstrip()
    out, listener = _Moments(bench.clock.monotonic_ns()), _Listener(unit, key)
    while True:
        reading = unit.read(key, point)
        shown.add(reading)
        _mark_out(out, reading, given)
        waited_ns = bench.clock.monotonic_ns() - listener.moments.before_ns
        if waited_ns >= given.poll_s * NS_PER_S and listener.came():
            return listener.outcome(out)
        command = bench.operator.watching(
            view_of(shown, reading, key=key, instruction=said, control=given.control, band=band)
        )
        if command == "abort":
            raise Aborted(f"Stopped by the {bench.operator.name} at '{key}'.")
        if command == "capture":
            break
    _hold(listener, given)
    return listener.outcome(out)


def _hold(listener: _Listener, given: AlarmWatch) -> None:
    """Wait, hands off, until the alarm comes or would have come long ago."""
    clock = listener.unit.bench.clock
    until_ns = clock.monotonic_ns() + given.hold_s * NS_PER_S
    while clock.monotonic_ns() < until_ns:
        clock.sleep(given.poll_s)
        if listener.came():
            return


def _mark_out(out: _Moments, reading: Reading, given: AlarmWatch) -> None:
    """Note when the parameter was surely in its limits for the last time, and when surely out."""
    if not reading.usable or out.after_ns is not None:
        return
    if given.past(reading.value, given.alarmed):
        out.after_ns = reading.mono_ns
    elif not given.past(reading.value, given.quiet):
        out.before_ns = reading.mono_ns


def _seen(body: Mapping[str, object]) -> AlarmSeen:
    time_s, u_s = body["time_s"], body["u_s"]
    return AlarmSeen(
        alarm=bool(body["alarm"]),
        time_s=None if time_s is None else float(str(time_s)),
        u_s=None if u_s is None else float(str(u_s)),
        others=parameters_in(body),
    )
