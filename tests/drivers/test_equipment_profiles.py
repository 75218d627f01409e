"""Profiles of power meter, counter and alarm unit against the simulated instruments themselves."""

from __future__ import annotations

import pytest

from daq.errors import AnswerError
from daq.reading import Quality
from drivers.question import Question
from drivers.registry import find_profile
from tests.support.equipment import equipment_bench, station_of, station_text


def test_the_power_meter_reads_watts_within_its_specification() -> None:
    with equipment_bench({"seed": 3}) as made:
        made.sim.hands.do("connect power meter", {"point": "course CSB"})
        reading = made.instruments["power meter"].measure("power")
        true_w = made.sim.plant.power_w("course CSB")
    assert abs(reading.value - true_w) <= 2.0 * reading.u
    # The manual: 2 per cent of reading + 0.5 mW at 95 per cent, so half of that is one u.
    assert reading.u == pytest.approx((0.02 * reading.value + 0.0005) / 2.0)


def test_a_sensor_that_is_not_connected_gives_no_value() -> None:
    with equipment_bench({"seed": 3}) as made:
        reading = made.instruments["power meter"].measure("power")
    assert not reading.usable


def test_the_counter_reads_hertz_within_its_specification() -> None:
    with equipment_bench({"seed": 3}) as made:
        made.sim.hands.do("connect counter", {"point": "clearance CSB"})
        reading = made.instruments["counter"].measure("frequency")
        true_hz = made.sim.plant.frequency_hz("clearance CSB")
    assert true_hz == pytest.approx(109.34525e6)
    assert abs(reading.value - true_hz) <= 2.0 * reading.u
    # 0.5 parts per million of 109 MHz and 2 Hz, at 95 per cent.
    assert reading.u == pytest.approx(28.3, rel=0.01)


PARAMETERS = ("CL", "CW", "C9", "C1", "PC", "PL", "SC", "SL", "ID", "FF")


def test_the_alarm_unit_tells_which_parameter_is_out_for_its_delay() -> None:
    """The power of the clearance carrier and its sum of depths; the clearances go with it."""
    with equipment_bench({"seed": 3}) as made:
        unit = made.instruments["alarm unit"]

        def state(channel: str) -> float:
            return unit.measure("alarm", channel=channel).value

        assert state("S") == 0.0
        made.sim.hands.do("turn control", {"control": "clearance carrier power", "change_db": -1.5})
        assert state("S") == state("PL") == 0.0  # its delay runs
        made.clock.sleep(1.6)
        assert state("S") == 1.0
        assert {code for code in PARAMETERS if state(code) == 1.0} == {"PL"}
        assert state("PC") == 0.0
        ident = unit.measure("alarm", channel="ID")
    assert ident.quality is Quality.NO_VALUE  # the plant's ident is not monitored


@pytest.mark.parametrize("channel", ["S", *PARAMETERS])
def test_each_parameter_s_state_is_read_at_its_own_place(channel: str) -> None:
    """The line of the manual with one ``A`` in it, at each place; worst and each by its name."""
    profile = find_profile("halvorsund-ma3", station_of(station_text()).path.parent)
    assert profile.instrument.channels == ("S", *PARAMETERS)
    question = Question(profile.quantity["alarm"], channel, 1.0)
    for one in PARAMETERS:
        each = " ".join(f"{code}={'A' if code == one else 'N'}" for code in PARAMETERS)
        heard = question.hear(f"S A {each}")
        assert heard.number.value == float(channel in ("S", one))
    waiting = "S P " + " ".join(f"{code}=P" for code in PARAMETERS)
    assert question.hear(waiting).number.value == 0.0
    with pytest.raises(AnswerError, match="does not fit"):
        question.hear("S X " + " ".join(f"{code}=X" for code in PARAMETERS))


def test_the_detector_s_long_record_holds_a_strong_carrier_with_its_identification() -> None:
    plant = {"seed": 3, "tx1": {"course": {"power_db": 0.8}, "ident_depth": 0.12}}
    with equipment_bench(plant, long_records=True) as made:
        made.sim.hands.do("connect probe", {"point": "course CSB detector", "channel": 1})
        scope = made.instruments["scope"]
        record = scope.waveform(point="course CSB detector", channel="1")  # type: ignore[attr-defined]
    assert not record.clipped
    assert record.samples_v.size / record.rate_hz == pytest.approx(10.0)
    assert record.samples_v.max() > 1.5
