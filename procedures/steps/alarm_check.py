"""One alarm: its setting computed, its actual point walked to, its time measured, all put back."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from daq.errors import Refused
from daq.measurement import Measurement
from daq.roles import Action
from daq.station_equipment import AlarmEntry, Alarms
from procedures.engine.bench import Bench
from procedures.judge import Limit, Result
from procedures.limit_tables import find_limit
from procedures.show import said_value
from procedures.steps.alarm_unit import AlarmUnit
from procedures.steps.alarm_watch import AlarmSeen, AlarmWatch, time_from_act, watch_for_alarm
from procedures.steps.identification import keyed_meanwhile
from procedures.steps.profile import (
    Normal,
    away_from_normal,
    put_back,
    read_normal,
    verify_normal,
)
from procedures.trims.alarm_setting import AlarmSetting, alarm_setting

BEYOND: Final = 0.4
"""How far past the setting an alarm is walked to before it counts as missing, and past the actual
point a control is turned to time it: part of the way from normal."""

FIRST_STEP: Final = 0.5
"""Part of the way that is gone at once; an alarm that comes there has its point less well known,
and far inside its limit."""

HELD: Final = 1.2
"""How long an alarm is waited for, of the time in which it has to come."""

TIMING_POLL_S: Final = 0.1
"""Between two looks at the alarm unit while it is timed."""

RESTORED: Final = 0.15
"""Accepted distance from the normal reading after an alarm was tried: part of the way."""


@dataclass(frozen=True, slots=True)
class Walked:
    """Where an alarm came: between the last reading without it and the first one with it, SI."""

    point: Result
    quiet: float
    alarmed: float


@dataclass(frozen=True, slots=True)
class AlarmWork:
    """One alarm and what belongs to it.

    Attributes
    ----------
    unit
        The alarm unit, which tells this alarm from those of other parameters.
    setting, normal
        Where it has to come, and what the point read before.
    time_limit
        Of the category.
    """

    bench: Bench
    table: Alarms
    unit: AlarmUnit
    entry: AlarmEntry
    key: str
    setting: AlarmSetting
    normal: Normal
    time_limit: Limit

    @property
    def found(self) -> Measurement:
        """The normal reading of the point that is turned."""
        return self.normal[self.entry.point]

    @property
    def way(self) -> float:
        """From the normal reading to the setting, with its sign."""
        return self.setting.at(self.found.value) - self.found.value

    def watch(self, quiet: float, alarmed: float, target: float, poll_s: float) -> AlarmWatch:
        """Return what is watched on the way to `target`."""
        hold_s = HELD * (self.time_limit.high or 10.0)
        entry, value = self.entry, self.found.value
        return AlarmWatch(entry.point, entry.control, value, quiet, alarmed, target, hold_s, poll_s)


def check_alarm(bench: Bench, entry: AlarmEntry) -> None:
    """Try one alarm.

    Raises
    ------
    Refused
        The unit is in alarm before anything is turned, or what was normal does not come back.
    """
    table = bench.station.alarms
    if table is None:
        raise Refused("The station file has no table [alarms].")
    key = f"alarm/{entry.name}"
    unit = AlarmUnit.trying(bench, table, entry)
    time_limit = _time_limit(bench, entry)
    if entry.kind == "ident":
        checks = bench.station.transmitter
        # Without a word of the station file it is suppressed, as [transmitter.ident] has it too.
        suppressed = checks is None or checks.ident is None or checks.ident.suppressed
        with keyed_meanwhile(bench, f"{key}/keyed", suppressed=suppressed):
            # While it was suppressed its own alarm stood.
            _see_at_rest(unit, table, f"{key}/at rest", time_limit)
            _ident(unit, table, key, time_limit)
        return
    if in_alarm := unit.in_alarm(f"{key}/at rest"):
        raise Refused(
            f"The alarm unit is in alarm before '{entry.name}' is tried: {', '.join(in_alarm)}.",
            hint="find out what it is about and clear it first.",
        )
    normal = read_normal(bench, key, (entry.point, *entry.also))
    setting = alarm_setting(bench.station, entry)
    _try(AlarmWork(bench, table, unit, entry, key, setting, normal, time_limit))


def _time_limit(bench: Bench, entry: AlarmEntry) -> Limit:
    if entry.within_s is not None:
        name, source = f"{entry.name}: time to the alarm", "station file"
        return Limit(None, entry.within_s, "s", name, source, source)
    category, overrides = bench.station.station.category, bench.station.limits
    return find_limit("localizer", category, "alarm_time", overrides=overrides).limit()


def _try(work: AlarmWork) -> None:
    bench, entry = work.bench, work.entry
    _keep_setting(work)
    what = f"'{entry.control}' is away from normal to try the alarm '{entry.name}'"
    with away_from_normal(bench, work.key, what, [entry.control]):
        walked = _walk(work)
        _restore(work, "walked")
        seen = None if walked is None else _time(work, walked)
        if seen is not None:
            _restore(work, "timed")
    _judge(work, None if walked is None else walked.point, seen)


def _keep_setting(work: AlarmWork) -> None:
    bench, setting, found = work.bench, work.setting, work.found
    at = setting.at(found.value)
    bench.note(
        f"{work.key}/setting",
        f"Alarm setting, {work.entry.name}",
        {
            "normal": found.value,
            "alarm_at": at,
            "part_of_normal": at / found.value if setting.relative else None,
            "computed_from": setting.words,
            "source": setting.source,
            "status": setting.status,
        },
    )
    words = said_value(found.quantity, at)
    bench.tell(f"{work.entry.name}: the alarm has to come at {words} ({setting.words}).")


def _walk(work: AlarmWork) -> Walked | None:
    """Walk from normal until the alarm comes; return its actual point, None when it is missing.

    The point lies between the last step without the alarm and the first one with it.
    """
    bench, start, steps = work.bench, work.found.value, work.table.steps
    quiet = work.found
    first = math.ceil(steps * FIRST_STEP)
    for number in range(first, math.ceil(steps * (1.0 + BEYOND)) + 1):
        target = start + work.way * number / steps
        # Readings at places of a walk serve its result and are not followed one by one.
        key = f"{work.key}/place {number}"
        words = (
            f"Turn '{work.entry.control}' slowly until '{work.entry.point}' shows "
            f"{said_value(work.found.quantity, target)}, or the alarm comes; then hands off."
        )
        if number == first:
            # Another point may have been read last: this connects the right one.
            quiet = bench.measure(f"{key}/before", work.entry.point, label="normal")
        watch = work.watch(target, target, target, work.table.poll_s)
        seen = watch_for_alarm(work.unit, f"{key}/watch", watch, words)
        at = bench.measure(f"{key}/reading", work.entry.point, label=f"traverse, step {number}")
        if seen.alarm:
            return Walked(_between(work, quiet, at), quiet.value, at.value)
        quiet = at
    return None


def _between(work: AlarmWork, quiet: Measurement, alarmed: Measurement) -> Result:
    value = (quiet.value + alarmed.value) / 2.0
    u_step = abs(alarmed.value - quiet.value) / math.sqrt(12.0)
    if work.setting.relative:
        # One instrument at nearly one level: what is off in it is off in both readings.
        normal = work.found
        u = math.hypot(alarmed.u_scatter, u_step, normal.u_scatter * value / normal.value)
        return Result("alarm point", value / normal.value, u / normal.value, work.entry.point)
    return Result("alarm point", value, math.hypot(alarmed.u, u_step), work.entry.point)


def _time(work: AlarmWork, walked: Walked) -> AlarmSeen:
    """Turn well past the actual point and measure how long the alarm takes."""
    start, alarmed = work.found.value, walked.alarmed
    target = alarmed + BEYOND * (alarmed - start)
    words = (
        f"Turn '{work.entry.control}' without hesitation past the alarm, until "
        f"'{work.entry.point}' shows {said_value(work.found.quantity, target)}."
    )
    work.bench.measure(f"{work.key}/timing/before", work.entry.point, label="normal")
    watch = work.watch(walked.quiet, alarmed, target, TIMING_POLL_S)
    return watch_for_alarm(work.unit, f"{work.key}/timing", watch, words)


def _restore(work: AlarmWork, after: str) -> None:
    """Put the control back and see the normal values and the alarm unit at rest.

    Raises
    ------
    Refused
        The alarm stays.
    """
    bench, key, band = work.bench, f"{work.key}/{after}", RESTORED * abs(work.way)
    entry = work.entry
    put_back(bench, key, [(entry.point, entry.control, band)], work.normal)
    verify_normal(bench, key, dict.fromkeys((entry.point, *entry.also), 1.5 * band), work.normal)
    _see_at_rest(work.unit, work.table, key, work.time_limit)


def _see_at_rest(unit: AlarmUnit, table: Alarms, key: str, time_limit: Limit) -> None:
    limit_s = 2.0 * (time_limit.high or 10.0)
    if in_alarm := unit.still_in_alarm(f"{key}/cleared", limit_s, table.poll_s):
        raise Refused(
            f"The alarm stands although all values are normal: {', '.join(in_alarm)}.",
            hint="reset the alarm unit by its own manual, and look at what is named.",
        )


def _judge(work: AlarmWork, point: Result | None, seen: AlarmSeen | None) -> None:
    bench, entry, key = work.bench, work.entry, work.key
    if point is None:
        value = work.found.value + (1.0 + BEYOND) * work.way
        value = value / work.found.value if work.setting.relative else value
        point = Result("alarm point", value, 0.0, entry.point)
        bench.tell(f"{entry.name}: NO ALARM came on the way to {value:.4g}.")
    limit = work.setting.limit(work.found.value, entry.name)
    bench.judge(f"{key}/point/verdict", f"{entry.name}: actual point of the alarm", point, limit)
    if seen is not None:
        _judge_time(bench, key, entry.name, seen, work.time_limit)


def _judge_time(bench: Bench, key: str, name: str, seen: AlarmSeen, limit: Limit) -> None:
    if not seen.alarm:
        waited_s = HELD * (limit.high or 10.0)
        seen = AlarmSeen(alarm=False, time_s=waited_s, u_s=0.0)
        bench.tell(f"{name}: NO ALARM came within {waited_s:.3g} s; that long it was waited for.")
    if seen.time_s is None or seen.u_s is None:
        bench.tell(f"{name}: the time to the alarm was not seen; its verdict is left open.")
        bench.note(f"{key}/time/not seen", f"Time to alarm, {name}", {"alarm_came": seen.alarm})
        return
    held_s = HELD * (limit.high or 10.0)
    if seen.time_s > held_s:
        bench.tell(
            f"{name}: the alarm took longer than each step of the walk was held, {held_s:.3g} s; "
            "its point may lie nearer to normal than was found."
        )
    result = Result("alarm time", seen.time_s, seen.u_s)
    bench.judge(f"{key}/time/verdict", f"{name}: time to the alarm", result, limit)


def _ident(unit: AlarmUnit, table: Alarms, key: str, limit: Limit) -> None:
    """Switch the ident off, measure how long the alarm takes, and switch it on again."""
    bench = unit.bench
    on = Action("key ident", {"mode": "code"})
    what = "the identification is switched off to try its alarm"
    with away_from_normal(bench, key, what, [], on):
        moments = bench.journal.outcome(
            f"{key}/began", {"do": "now"}, lambda: {"mono_ns": bench.clock.monotonic_ns()}
        )
        bench.require(
            f"{key}/off",
            "Switch the identification off and confirm at once.",
            action=Action("key ident", {"mode": "off"}),
        )
        acted = bench.journal.outcome(
            f"{key}/acted", {"do": "now"}, lambda: {"mono_ns": bench.clock.monotonic_ns()}
        )
        began_ns, acted_ns = (int(str(body["mono_ns"])) for body in (moments, acted))
        limit_s = HELD * (limit.high or 10.0)
        seen = time_from_act(unit, f"{key}/timing", began_ns, acted_ns, limit_s)
        bench.require(f"{key}/on", "Switch the identification on again.", action=on)
        _see_at_rest(unit, table, key, limit)
    _judge_time(bench, key, "identification", seen, limit)
