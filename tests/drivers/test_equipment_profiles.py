"""Profiles of power meter, counter and alarm unit against the simulated instruments themselves."""

from __future__ import annotations

import re

import pytest

from daq.reading import Quality
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


def test_the_alarm_unit_is_in_order_until_a_parameter_is_out_for_its_delay() -> None:
    with equipment_bench({"seed": 3}) as made:
        unit = made.instruments["alarm unit"]
        assert unit.measure("alarm").usable
        made.sim.hands.do("switch carrier", {"carrier": "clearance", "state": "off"})
        assert unit.measure("alarm").usable
        made.clock.sleep(1.6)
        reading = unit.measure("alarm")
    assert reading.quality is Quality.FLAGGED
    assert reading.raw.startswith("S A ")


@pytest.mark.parametrize("state", ["N", "P", "A"])
def test_the_alarm_unit_s_answer_is_read_as_its_manual_has_it(state: str) -> None:
    profile = find_profile("halvorsund-ma3", station_of(station_text()).path.parent)
    pattern = re.compile(profile.quantity["alarm"].answer)
    answer = f"S {state} CL=N CW={state} C9=N C1=- PC=N PL=N SC=N SL=N ID=N FF=N"
    assert pattern.fullmatch(answer)
    assert not pattern.fullmatch("S N CL=N CW=N PC=N")


def test_the_detector_s_long_record_holds_a_strong_carrier_with_its_identification() -> None:
    plant = {"seed": 3, "tx1": {"course": {"power_db": 0.8}, "ident_depth": 0.12}}
    with equipment_bench(plant, long_records=True) as made:
        made.sim.hands.do("connect probe", {"point": "course CSB detector", "channel": 1})
        scope = made.instruments["scope"]
        record = scope.waveform(point="course CSB detector", channel="1")  # type: ignore[attr-defined]
    assert not record.clipped
    assert record.samples_v.size / record.rate_hz == pytest.approx(10.0)
    assert record.samples_v.max() > 1.5
