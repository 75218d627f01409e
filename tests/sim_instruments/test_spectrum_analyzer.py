"""Spectrum analyzer against its manual page and against AM theory."""

from __future__ import annotations

import pytest

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench

COURSE_HZ, CLEARANCE_HZ = 109_354_750.0, 109_345_250.0


@pytest.fixture
def bench(clock: ManualClock) -> SimulatedBench:
    bench = SimulatedBench({"position_error_m": 0.0}, clock)
    bench.hands.do("connect analyzer", {"point": "antenna"})
    return bench


def ask(bench: SimulatedBench, text: str) -> str:
    return bench.device("ostrel-sa4").session().feed(text.encode() + b"\n").decode().strip()


def level(bench: SimulatedBench, hz: float) -> float:
    return float(ask(bench, f"CALC:MARK:X {hz};Y?"))


@pytest.mark.parametrize("azimuth", [0.0, 7.0, 20.0])
def test_both_carriers_apart_in_the_field(bench, azimuth):
    """The difference of the two markers is what the arrays make (truth of the plant)."""
    place: dict[str, str | float] = {"radius_m": 3120.0, "azimuth_deg": azimuth}
    bench.hands.do("carry receiver", place)
    found = level(bench, COURSE_HZ) - level(bench, CLEARANCE_HZ)
    expected = bench.hands.do("field", place)["course_to_clearance_db"]
    assert found == pytest.approx(expected, abs=0.4)


def test_level_of_the_course_carrier_at_the_threshold(bench):
    """-47.3 dBm within the 1 dB of the manual, found by the marker's own search."""
    bench.hands.do("carry receiver", {"along_m": 3120.0})
    ask(bench, "CALC:MARK:MAX")
    assert float(ask(bench, "CALC:MARK:X?")) == pytest.approx(COURSE_HZ, abs=60)
    assert float(ask(bench, "CALC:MARK:Y?")) == pytest.approx(-47.3, abs=1.0)


def test_sidebands_of_csb_are_20_db_down(bench):
    """m/2 of 0.2 is 0.1 (AM theory); 10 Hz of bandwidth resolve 90 and 150 Hz."""
    bench.hands.do("connect analyzer", {"point": "course CSB"})
    ask(bench, "SENS:BAND 10")
    carrier = level(bench, COURSE_HZ)
    for offset_hz in (-150, -90, 90, 150):
        assert level(bench, COURSE_HZ + offset_hz) - carrier == pytest.approx(-20.0, abs=0.3)
    assert level(bench, COURSE_HZ + 120) - carrier < -45


def test_trace_has_401_points_over_the_span(bench, clock):
    """Its highest is the carrier's; the sweep takes 4 over the bandwidth."""
    bench.hands.do("connect analyzer", {"point": "course CSB"})
    before = clock.mono_ns
    levels = [float(text) for text in ask(bench, "SENS:BAND 40;:TRAC:DATA?").split(",")]
    assert clock.mono_ns - before == 100_000_000
    assert len(levels) == 401
    # 4750 Hz above the middle of 20 kHz.
    assert levels.index(max(levels)) == pytest.approx(200 + 4750 / 50, abs=2)


@pytest.mark.parametrize(
    "query", ["CALC:MARK:Y?", "TRAC:DATA?", "CALC:MARK:MAX;X?", "CALC:MARK:MAX;Y?"]
)
def test_nothing_connected(clock, query):
    """9.91E37 (SCPI-1999, 7.2.1.4), and a search that found nothing leaves no frequency behind."""
    assert float(ask(SimulatedBench({}, clock), query)) == 9.91e37


def test_the_highest_line_is_the_course_carriers(bench):
    """4.75 kHz above the channel's middle (the plant's default), within half a bandwidth."""
    bench.hands.do("connect analyzer", {"point": "antenna"})
    bench.hands.do("carry receiver", {"along_m": 3120.0})
    for bandwidth_hz in (10, 30, 100):
        ask(bench, f"SENS:BAND {bandwidth_hz}")
        found_hz = float(ask(bench, "CALCulate1:MARKer1:MAXimum;X?"))
        assert found_hz == pytest.approx(COURSE_HZ, abs=bandwidth_hz / 2)


def test_a_single_sweep_stays_until_the_next_or_until_a_setting_changes(bench):
    """All answers are of one sweep then; -230 (SCPI-1999, 21.8) when there is none."""
    bench.hands.do("carry receiver", {"along_m": 3120.0})
    assert ask(bench, "INIT:CONT OFF;:CALC:MARK:Y?") == ""
    assert ask(bench, "SYST:ERR?") == '-230,"Data corrupt or stale"'
    first = ask(bench, "INIT;:CALC:MARK:MAX;Y?")
    bench.hands.do("carry receiver", {"along_m": 1000.0})
    assert ask(bench, "CALC:MARK:Y?") == first
    assert float(ask(bench, "INIT;:CALC:MARK:Y?")) > float(first) + 3.0
    assert ask(bench, "SENS:BAND 40;:CALC:MARK:Y?") == ""
    assert ask(bench, "*CLS;*RST;INIT:CONT?") == "1"


def test_there_is_one_marker(bench):
    ask(bench, "CALC:MARK2:X?")
    assert ask(bench, "SYST:ERR?") == '-114,"Header suffix out of range"'


@pytest.mark.parametrize(
    "text",
    ["SENS:FREQ:CENT 110E6", "SENS:FREQ:SPAN 50E3", "SENS:BAND 1", "CALC:MARK:X 109.4E6"],
)
def test_out_of_range(bench, text):
    """-222, and the setting stays."""
    ask(bench, text)
    assert ask(bench, "SYST:ERR?").startswith("-222")
    assert float(ask(bench, "SENS:FREQ:SPAN?")) == 20e3


def test_settings_and_reset(bench):
    """Centre moved by 2 kHz, span 4 kHz; ``*RST`` brings the manual's values."""
    ask(bench, "SENS:FREQ:CENT 109.352E6;SPAN 4E3;:SENS:BAND 50")
    assert float(ask(bench, "SENS:FREQ:CENT?")) == 109.352e6
    ask(bench, "*RST")
    assert ask(bench, "SENS:FREQ:SPAN?;:SENS:BAND?") == "2.0000E+04;3.0000E+01"
