"""NMEA 0183 sentences of the position receiver."""

from __future__ import annotations

import threading

import numpy as np
import pytest
import serial

from daq.clock import ManualClock
from sim_instruments.bench import SimulatedBench
from sim_instruments.clock import ScaledClock
from sim_instruments.position_receiver import angle, sentence
from sim_instruments.sessions import Speaks

PLACE: dict[str, str | float] = {"along_m": 3120.0, "lateral_m": -106.9}
METRE_NORTH_DEG = 1 / 111_338
"""At 57 degrees (111.34 km to the degree; textbook geodesy, from memory)."""


def spoken(bench: SimulatedBench) -> list[str]:
    """Return the next two sentences."""
    session = bench.device("navelin-gp5").session()
    assert isinstance(session, Speaks)
    return session.speak(threading.Event()).decode("ascii").splitlines()


def degrees(text: str, letter: str) -> float:
    point = text.index(".") - 2
    value = float(text[:point]) + float(text[point:]) / 60
    return -value if letter in "SW" else value


@pytest.mark.parametrize(
    "known",
    [
        # Sentences that textbooks and manuals of many makers print (from memory).
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
        b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    ],
)
def test_checksums_of_published_sentences(known):
    assert sentence(known[1:-3].decode()) == known + b"\r\n"


@pytest.mark.parametrize(
    ("value", "digits", "letters", "text"),
    [
        (57.25, 2, "NS", "5715.00000,N"),
        (-0.5, 3, "EW", "00030.00000,W"),
        (9.9999999999, 3, "EW", "01000.00000,E"),
    ],
)
def test_degrees_and_minutes(value, digits, letters, text):
    """Two or three digits of degrees; never 60 minutes."""
    assert angle(value, digits, letters) == text


def test_it_says_where_hands_carried_it():
    """Within 5 m (five standard deviations); five times a second; time and date of the clock."""
    clock = ManualClock()
    bench = SimulatedBench({}, clock)
    bench.hands.do("carry receiver", PLACE)
    before = clock.mono_ns
    gga, rmc = (line.split("*")[0].split(",") for line in spoken(bench))
    assert clock.mono_ns - before == 200_000_000
    latitude, longitude = bench.plant.given.site.latitude_longitude(bench.connections.place)
    for fields, first in ((gga, 2), (rmc, 3)):
        assert degrees(*fields[first : first + 2]) == pytest.approx(
            latitude, abs=5 * METRE_NORTH_DEG
        )
        assert degrees(*fields[first + 2 : first + 4]) == pytest.approx(
            longitude, abs=10 * METRE_NORTH_DEG
        )
    # 1 800 000 000 s after 1970 is 2027-01-15 08:00:00 (GNU date).
    assert (rmc[1], rmc[9], rmc[2], gga[6]) == ("080000.20", "150127", "A", "1")


def test_the_error_is_about_a_metre_and_wanders():
    """Over an hour 1 m each axis; from one fifth of a second to the next only centimetres."""
    bench = SimulatedBench({}, ManualClock())
    bench.hands.do("carry receiver", PLACE)
    north = [degrees(*spoken(bench)[0].split(",")[2:4]) / METRE_NORTH_DEG for _ in range(6000)]
    assert 0.6 < np.std(north) < 1.4
    assert np.std(np.diff(north)) < 0.2


def test_before_it_is_carried_there_is_no_fix():
    """Quality 0 and status V, no position."""
    gga, rmc = (line.split(",") for line in spoken(SimulatedBench({}, ManualClock())))
    assert gga[6] == "0"
    assert rmc[2] == "V"
    assert gga[2] == rmc[3] == ""


def test_an_independent_parser_reads_it():
    """pynmea2 checks checksums and fields; not required, used where it is installed."""
    pynmea2 = pytest.importorskip("pynmea2")
    bench = SimulatedBench({}, ManualClock())
    bench.hands.do("carry receiver", {"radius_m": 9000.0, "azimuth_deg": 35.0})
    latitude, longitude = bench.plant.given.site.latitude_longitude(bench.connections.place)
    for line in spoken(bench):
        parsed = pynmea2.parse(line, check=True)
        assert parsed.is_valid
        assert parsed.latitude == pytest.approx(latitude, abs=5 * METRE_NORTH_DEG)
        assert parsed.longitude == pytest.approx(longitude, abs=10 * METRE_NORTH_DEG)


def test_over_a_serial_line_unasked(tmp_path):
    """Twenty times real time: sentences come by themselves through a pseudo-terminal."""
    bench = SimulatedBench({}, ScaledClock(20.0))
    bench.hands.do("carry receiver", PLACE)
    with (
        bench.serve([("navelin-gp5", "ASRL./gps.tty::INSTR")], folder=tmp_path, hands_port=None),
        serial.Serial(str(tmp_path / "gps.tty"), 38400, timeout=2) as line,
    ):
        line.readline()
        heard = {line.readline()[:6] for _ in range(4)}
    assert heard == {b"$GPGGA", b"$GPRMC"}
