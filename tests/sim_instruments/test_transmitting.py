"""Two transmitters, their imperfections, controls and test ports."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.clock import ManualClock
from sim_instruments.controls import HandError
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate
from sim_instruments.signals import Timebase


def still(**table) -> Plant:
    """Return a plant without noise, drift and hand error."""
    quiet = {"receiver_noise_ddm": 0.0, "phase_drift_deg": 0.0, "level_drift_db": 0.0}
    given = PlantParameters.from_table({**quiet, **table})
    return Plant(given, ManualClock(), hand=HandError(0, 0, 0))


def seen(plant: Plant, point: str, seconds: float = 0.1) -> Demodulated:
    return demodulate(plant.field(point, Timebase(0.0, RATE_HZ, round(seconds * RATE_HZ))))


def test_csb_alone_at_its_port():
    """20 per cent each, balanced, and a carrier of its own."""
    for port in ("course CSB", "clearance CSB"):
        found = seen(still(), port)
        assert found.depth_90 == pytest.approx(0.2, abs=1e-5)
        assert found.ddm == pytest.approx(0.0, abs=1e-6)


def test_each_transmitter_has_its_own_depths_and_tones():
    """As the tables say; 2.25 Hz of 150 Hz is 1.5 per cent."""
    plant = still(
        tx1={"course": {"depth_90": 0.19, "depth_150": 0.205}},
        tx2={"tone_150_error_percent": 1.5, "clearance": {"depth_90": 0.18}},
    )
    assert seen(plant, "course CSB").depth_90 == pytest.approx(0.19, abs=1e-4)
    assert seen(plant, "course CSB").ddm == pytest.approx(0.015, abs=1e-4)
    plant.select_transmitter(2)
    assert seen(plant, "course CSB", 1.0).tone_150_hz == pytest.approx(152.25, abs=0.02)
    assert seen(plant, "clearance CSB", 1.0).depth_90 == pytest.approx(0.18, abs=2e-3)


def test_tone_phase_and_harmonics_on_the_detector():
    """By FFT over a second: 12 degrees of the 150 Hz tone, 2 per cent of second harmonic."""
    plant = still(tx1={"tone_phase_deg": 12.0, "harmonic_percent": 2.0})
    volts = plant.volts("course CSB detector", 0.0, 9000.0, 9000)
    lines = np.fft.rfft(volts) / 4500
    turn_deg = math.degrees(np.angle(lines[150] / lines[90]))
    assert turn_deg == pytest.approx(12.0, abs=0.1)
    assert abs(lines[300] / lines[150]) == pytest.approx(0.02, abs=5e-4)
    assert abs(lines[180] / lines[90]) == pytest.approx(0.02, abs=5e-4)


def test_modulator_controls():
    """Depth by decibels on both tones; balance takes from one and gives to the other."""
    plant = still()
    depth, balance = "course modulation depth", "course modulation balance"
    plant.turn(depth, plant.fraction_for(depth, change_db=1.0))
    plant.turn(balance, plant.fraction_for(balance, change_ddm=0.01))
    found = seen(plant, "course CSB")
    assert found.sdm == pytest.approx(0.4 * 10 ** (1 / 20), abs=1e-4)
    assert found.ddm == pytest.approx(0.01, abs=1e-4)
    assert seen(plant, "clearance CSB").sdm == pytest.approx(0.4, abs=1e-4)


def test_each_transmitter_has_its_own_controls():
    """What was turned on one is as it was on the other."""
    plant = still()
    plant.turn("course SBO level", 0.2)
    plant.select_transmitter(2)
    assert plant.position("course SBO level") == 0.5
    plant.select_transmitter(1)
    assert plant.position("course SBO level") == pytest.approx(0.7)


def test_there_is_no_second_transmitter_where_the_table_says_so():
    """The refusal counts them."""
    plant = still(transmitters=1)
    with pytest.raises(ValueError, match="no transmitter 2; there are 1"):
        plant.select_transmitter(2)


def test_ident_is_keyed_continuous_or_off():
    """8 per cent at 1020 Hz with the key down; a word that is none is refused."""
    plant = still(tx1={"ident_depth": 0.08})

    def depth() -> float:
        volts = plant.volts("course CSB detector", 7.0, 10_000.0, 5000)
        return float(2 * abs(np.fft.rfft(volts))[510] / 5000)

    assert depth() < 0.001
    plant.key_ident("continuous")
    assert depth() == pytest.approx(0.08, abs=1e-3)
    plant.turn("ident depth", plant.fraction_for("ident depth", change_db=-2.0))
    assert depth() == pytest.approx(0.08 * 10 ** (-2 / 20), abs=1e-3)
    plant.key_ident("off")
    assert depth() < 0.001
    with pytest.raises(ValueError, match="not keyed 'loudly'; code, continuous, off"):
        plant.key_ident("loudly")


def test_power_of_carrier_and_sidebands():
    """15 W of carrier with m = 0.2 twice: 4 per cent more (AM theory; standards, F2)."""
    plant = still()
    assert plant.power_w("course CSB") == pytest.approx(15.6)
    plant.turn("course carrier power", plant.fraction_for("course carrier power", change_db=-3.0))
    assert plant.power_w("course CSB") == pytest.approx(15.6 * 0.5012, rel=1e-3)


def test_sbo_power_follows_its_level():
    """-1.618 dB of SBO is 31 per cent less power, 17 per cent less amplitude."""
    plant = still()
    before = plant.power_w("course SBO")
    assert 0.01 < before / plant.power_w("course CSB") < 0.1
    plant.turn("course SBO level", plant.fraction_for("course SBO level", change_db=-1.618))
    assert plant.power_w("course SBO") / before == pytest.approx(0.83**2, rel=1e-3)


def test_carrier_frequencies_and_the_beat():
    """Nominal +-4750 Hz and each oscillator's own error; the phase detector shows the sum."""
    plant = still(tx1={"course": {"carrier_error_hz": 200.0}})
    assert plant.frequency_hz("course CSB") == pytest.approx(109_354_950.0)
    assert plant.frequency_hz("clearance SBO") == pytest.approx(109_345_250.0)
    volts = plant.volts("phase detector", 0.0, 200e3, 4000)
    assert np.argmax(np.abs(np.fft.rfft(volts))) * 50 == 9700


def test_course_faults_show_in_the_monitor():
    """Alignment on the course line, power on the level, balance on both."""
    plant = still(alignment_ddm=0.012)
    assert seen(plant, "course line").ddm == pytest.approx(0.0124, abs=3e-4)
    assert seen(plant, "course width").ddm == pytest.approx(0.167, abs=1e-3)
    assert plant.truth().sbo_to_csb == pytest.approx(0.0775)
    plant.turn("course carrier power", -0.5)
    assert seen(plant, "course line").carrier == pytest.approx(10 ** (-3 / 20), rel=1e-3)


def test_transmit_phase_is_in_the_feed_and_in_the_monitor():
    """The monitor's own lines make up for it at the start; a cut in the feed moves both."""
    plant = still(transmit_phase_error_deg=20.0, phase_error_deg=-30.0)
    truth = plant.truth()
    assert truth.transmit_phase_deg["course"] == pytest.approx(20.0, abs=1e-6)
    assert truth.phase_deg == pytest.approx(-30.0, abs=1e-6)
    plant.cut("csb", "transmitter", 0.1)
    after = plant.truth()
    moved = after.transmit_phase_deg["course"] - 20.0
    assert moved == pytest.approx(-0.1 / (0.82 * 299.792458 / 109.35475) * 360, abs=1e-3)
    assert after.phase_deg + 30.0 == pytest.approx(moved, abs=1e-6)


def test_clearance_has_feeds_of_its_own():
    """A cut there moves the clearance phase only."""
    plant = still()
    plant.cut("clearance sbo", "transmitter", 0.05)
    phases = plant.truth().transmit_phase_deg
    assert phases["clearance"] == pytest.approx(8.0, abs=0.1)
    assert phases["course"] == pytest.approx(0.0, abs=1e-9)
    with pytest.raises(ValueError, match="no cable 'clearance sbo' at 'monitor'"):
        plant.cut("clearance sbo", "monitor", 0.05)


def test_far_field_monitor_stands_on_the_course_line():
    """It sees alignment; a station may have none."""
    assert seen(still(), "far field monitor").ddm == pytest.approx(0.0, abs=1e-9)
    found = seen(still(alignment_ddm=0.01), "far field monitor")
    assert found.ddm == pytest.approx(0.01, abs=5e-4)
    assert not still(far_field_monitor_m=0.0).can_receive("far field monitor")
