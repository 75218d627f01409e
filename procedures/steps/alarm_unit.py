"""The monitor's alarm unit: is it in alarm, and how long does it take.

The unit's own answer is a reading like any other: one that is in order means that there is no
alarm, one that the instrument flags means that there is.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from daq.errors import Aborted, AnswerError
from daq.log.entry import Body
from daq.reading import Quality, Reading
from daq.station import Point
from daq.steadiness import Watch
from procedures.engine.bench import Bench
from procedures.engine.taking import take
from procedures.engine.watch_view import settle_for, view_of

NS_PER_S: Final = 1e9


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
        The alarm came.
    time_s, u_s
        From leaving the limits to the alarm, and its standard uncertainty; None when one of the
        two moments was not seen.
    """

    alarm: bool
    time_s: float | None
    u_s: float | None


@dataclass
class _Moments:
    """The stretch of time in which something happened, ns."""

    before_ns: int
    after_ns: int | None = None

    @property
    def middle_ns(self) -> float:
        after_ns = self.before_ns if self.after_ns is None else self.after_ns
        return (self.before_ns + after_ns) / 2.0

    @property
    def half_ns(self) -> float:
        """Farthest that the moment can lie from the middle."""
        after_ns = self.before_ns if self.after_ns is None else self.after_ns
        return (after_ns - self.before_ns) / 2.0


def look(bench: Bench, key: str) -> bool:
    """Return whether the alarm unit is in alarm now."""
    body = bench.journal.outcome(
        key,
        {"do": "alarm state"},
        lambda: bench.patiently(key, lambda: {"alarm": _in_alarm(bench, key)}),
    )
    return bool(body["alarm"])


def quiet_within(bench: Bench, key: str, limit_s: float, poll_s: float) -> bool:
    """Return whether the alarm unit comes to rest in time."""

    def live() -> Body:
        began_ns = bench.clock.monotonic_ns()
        while _in_alarm(bench, key):
            if bench.clock.monotonic_ns() - began_ns > limit_s * NS_PER_S:
                return {"quiet": False}
            bench.clock.sleep(poll_s)
        return {"quiet": True}

    request = {"do": "alarm at rest", "within_s": limit_s}
    return bool(bench.journal.outcome(key, request, lambda: bench.patiently(key, live))["quiet"])


def watch_for_alarm(bench: Bench, key: str, watch: AlarmWatch, instruction: str) -> AlarmSeen:
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
    body = bench.journal.outcome(
        key, request, lambda: bench.patiently(key, lambda: _watch(bench, key, watch, instruction))
    )
    return _seen(body)


def time_from_act(
    bench: Bench, key: str, began_ns: int, acted_ns: int, limit_s: float
) -> AlarmSeen:
    """Wait for an alarm after an act that lies between two moments.

    For what is switched off and not turned; the moments are the clock's before the act was asked
    for and after it was confirmed.
    """

    def live() -> Body:
        act, alarm = _Moments(began_ns, acted_ns), _Moments(bench.clock.monotonic_ns())
        while not _in_alarm(bench, key):
            alarm.before_ns = bench.clock.monotonic_ns()
            if alarm.before_ns - acted_ns > limit_s * NS_PER_S:
                return _body(alarm=False, out=act, alarmed=alarm)
            bench.clock.sleep(0.05)
        alarm.after_ns = bench.clock.monotonic_ns()
        return _body(alarm=True, out=act, alarmed=alarm)

    request = {"do": "time to alarm", "within_s": limit_s}
    return _seen(bench.journal.outcome(key, request, lambda: bench.patiently(key, live)))


def _watch(bench: Bench, key: str, given: AlarmWatch, instruction: str) -> Body:
    point = bench.station.point(given.point)
    band = abs(given.target - given.normal) * 0.1
    shown = Watch(target=given.target, settle=settle_for(point.quantity, given.target, band))
    reminders = " ".join(f"Reminder: {hazard.what}." for hazard in bench.hazards.values())
    said = f"{instruction} {reminders}".rstrip()
    out, alarmed = _Moments(bench.clock.monotonic_ns()), _Moments(bench.clock.monotonic_ns())
    while True:
        reading = _read(bench, key, point)
        shown.add(reading)
        _mark_out(out, reading, given)
        if bench.clock.monotonic_ns() - alarmed.before_ns >= given.poll_s * NS_PER_S:
            in_alarm = _in_alarm(bench, key)
            _mark(alarmed, bench.clock.monotonic_ns(), happened=in_alarm)
            if in_alarm:
                return _body(alarm=True, out=out, alarmed=alarmed)
        command = bench.operator.watching(
            view_of(shown, reading, key=key, instruction=said, control=given.control, band=band)
        )
        if command == "abort":
            raise Aborted(f"Stopped by the {bench.operator.name} at '{key}'.")
        if command == "capture":
            break
    return _hold(bench, key, given, out, alarmed)


def _hold(bench: Bench, key: str, given: AlarmWatch, out: _Moments, alarmed: _Moments) -> Body:
    """Wait, hands off, until the alarm comes or would have come long ago."""
    until_ns = bench.clock.monotonic_ns() + given.hold_s * NS_PER_S
    while bench.clock.monotonic_ns() < until_ns:
        bench.clock.sleep(given.poll_s)
        in_alarm = _in_alarm(bench, key)
        _mark(alarmed, bench.clock.monotonic_ns(), happened=in_alarm)
        if in_alarm:
            return _body(alarm=True, out=out, alarmed=alarmed)
    return _body(alarm=False, out=out, alarmed=alarmed)


def _mark_out(out: _Moments, reading: Reading, given: AlarmWatch) -> None:
    """Note when the parameter was surely in its limits for the last time, and when surely out."""
    if not reading.usable or out.after_ns is not None:
        return
    if given.past(reading.value, given.alarmed):
        out.after_ns = reading.mono_ns
    elif not given.past(reading.value, given.quiet):
        out.before_ns = reading.mono_ns


def _mark(moments: _Moments, now_ns: int, *, happened: bool) -> None:
    if moments.after_ns is not None:
        return
    if happened:
        moments.after_ns = now_ns
    else:
        moments.before_ns = now_ns


def _body(*, alarm: bool, out: _Moments, alarmed: _Moments) -> Body:
    if not alarm or out.after_ns is None:
        return {"alarm": alarm, "time_s": None, "u_s": None}
    # Limits of error (JCGM 100:2008, 4.3.7). The readings beat with the unit's delay, so that both
    # moments may lie at their far ends again and again: they are added, not squared.
    u_ns = (out.half_ns + alarmed.half_ns) / math.sqrt(3.0)
    time_ns = max(0.0, alarmed.middle_ns - out.middle_ns)
    return {"alarm": True, "time_s": time_ns / NS_PER_S, "u_s": u_ns / NS_PER_S}


def _seen(body: Mapping[str, object]) -> AlarmSeen:
    time_s, u_s = body["time_s"], body["u_s"]
    return AlarmSeen(
        alarm=bool(body["alarm"]),
        time_s=None if time_s is None else float(str(time_s)),
        u_s=None if u_s is None else float(str(u_s)),
    )


def _read(bench: Bench, key: str, point: Point) -> Reading:
    instrument = bench.instruments[point.instrument]
    reading = take(instrument, point.quantity, point=point.name, channel=point.channel)
    bench.journal.reading(key, reading)
    return reading


def _in_alarm(bench: Bench, key: str) -> bool:
    """Return the alarm unit's word; each look stands in the log.

    Raises
    ------
    AnswerError
        It says neither.
    """
    table = bench.station.alarms
    name = "" if table is None else table.state_point
    reading = _read(bench, key, bench.station.point(name))
    if reading.quality is Quality.FLAGGED:
        return True
    if reading.usable:
        return False
    raise AnswerError(
        f"The alarm unit says neither that there is an alarm nor that there is none: "
        f"{reading.quality} ({reading.raw!r}).",
        instrument=reading.source,
    )
