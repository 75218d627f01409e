"""The alarm unit as the procedures ask it: at rest, the parameter that is tried, or another."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import pytest

from daq.errors import AnswerError
from daq.log.entry import Kind
from daq.log.reader import LogReader
from daq.reading import Quality, Reading
from daq.station_equipment import AlarmEntry
from procedures.engine.bench import Bench
from procedures.steps.alarm_unit import UNNAMED, AlarmUnit
from tests.support.steps import Stage, stage

DELAY_S = 1.5
"""Of the simulated unit, unless told otherwise."""

ONE_PARAMETER = {'name = "clearance CSB power alarm"': 'name = "some other alarm"'}


def trying(bench: Bench, name: str) -> AlarmUnit:
    table = bench.station.alarms
    assert table is not None
    entry = next(entry for entry in table.entries if entry.name == name)
    return AlarmUnit.trying(bench, table, entry)


def fade_clearance_carrier(on: Stage) -> None:
    """Turn its power below the unit's limit, and let the unit's delay pass."""
    on.under.sim.hands.do("turn control", {"control": "clearance carrier power", "change_db": -1.5})
    on.under.clock.sleep(DELAY_S + 0.1)


def test_the_same_alarm_is_one_parameter_s_own_and_for_every_other_another_s(
    tmp_path: Path,
) -> None:
    with stage(tmp_path) as on:
        own, other = trying(on.bench, "clearance power"), trying(on.bench, "wide")
        assert own.look("a") == other.look("a") == "none"
        assert own.in_alarm("rest") == ()
        fade_clearance_carrier(on)
        assert (own.look("b"), other.look("b")) == ("own", "another")
        assert own.names("c") == other.names("c") == ("clearance CSB power alarm",)
        assert other.in_alarm("now") == ("clearance CSB power alarm",)


def test_while_all_is_well_a_look_is_one_question(tmp_path: Path) -> None:
    """The time to an alarm is measured by looks: they have to be quick until it comes."""
    with stage(tmp_path) as on:
        unit = trying(on.bench, "wide")
        asked = _counted(on, unit.look)
        assert asked == ["alarm state"]


def test_what_the_station_file_names_no_point_for_is_told_as_unnamed(tmp_path: Path) -> None:
    """Nothing in the file is of the channel that is in alarm."""
    changes = {'channel = "PL"': 'channel = "ID"', 'channel = "SL"': 'channel = "ID"'}
    with stage(tmp_path, changes=changes) as on:
        unit = trying(on.bench, "wide")
        fade_clearance_carrier(on)
        assert unit.look("a") == "another"
        assert unit.names("b") == (UNNAMED,)


def test_where_the_one_that_is_tried_has_no_point_any_alarm_is_taken_for_it(
    tmp_path: Path,
) -> None:
    with stage(tmp_path, changes=ONE_PARAMETER) as on:
        unit = trying(on.bench, "clearance power")
        assert unit.own is None
        assert "some other alarm" in {point.name for point in unit.rest}
        fade_clearance_carrier(on)
        assert unit.look("a") == "own"


def test_a_parameter_that_is_not_monitored_never_comes(tmp_path: Path) -> None:
    """The unit answers with a dash (its manual); the plant's ident is not monitored."""
    with stage(tmp_path) as on:
        table = on.bench.station.alarms
        assert table is not None
        ident = AlarmEntry(name="identification", kind="ident")
        unit = AlarmUnit.trying(on.bench, table, ident)
        assert unit.own is not None
        assert unit.own.channel == "ID"
        fade_clearance_carrier(on)
        assert unit.look("a") == "another"


def test_it_is_waited_for_until_it_is_at_rest_and_what_stays_is_named(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        unit = trying(on.bench, "wide")
        fade_clearance_carrier(on)
        before_s = on.under.clock.monotonic_ns() / 1e9
        assert unit.still_in_alarm("a", 2.0, 0.5) == ("clearance CSB power alarm",)
        assert on.under.clock.monotonic_ns() / 1e9 - before_s == pytest.approx(2.5, abs=0.51)
        on.under.sim.hands.do("restore control", {"control": "clearance carrier power"})
        assert unit.still_in_alarm("b", 2.0, 0.5) == ()


@pytest.mark.parametrize(
    ("value", "quality"),
    [(0.5, Quality.OK), (1.0, Quality.FLAGGED), (math.nan, Quality.NO_VALUE)],
)
def test_a_state_that_is_neither_is_an_error(
    tmp_path: Path, value: float, quality: Quality
) -> None:
    with stage(tmp_path) as on:
        unit = trying(on.bench, "wide")
        inner = on.bench.instruments["alarm unit"]
        reading = inner.measure("alarm", point="alarm state", channel="S")
        on.under.instruments["alarm unit"] = _Says(reading, value, quality)  # type: ignore[assignment]
        with pytest.raises(AnswerError, match=r"neither that there is an alarm \(1\)"):
            unit.look("a")
        on.under.instruments["alarm unit"] = inner


class _Says:
    """An alarm unit with one answer."""

    alias = "alarm unit"
    quantities = frozenset({"alarm"})

    def __init__(self, like: Reading, value: float, quality: Quality) -> None:
        self._like, self._value, self._quality = like, value, quality

    def measure(self, quantity: str, *, point: str = "", channel: str = "") -> Reading:
        like = self._like
        return Reading(
            quantity, self._value, 0.0, like.source, point, like.utc_ns, like.mono_ns,
            quality=self._quality, raw="S ?",
        )  # fmt: skip


def _counted(on: Stage, look: Callable[[str], object]) -> list[str]:
    """Return the points at which the unit is asked in one look."""
    look("counted")
    with LogReader(on.under.writer.path) as reader:
        rows = list(reader.entries(run=1, kind=Kind.READING))
    return [str(row.body["point"]) for row in rows if row.key == "counted"]
