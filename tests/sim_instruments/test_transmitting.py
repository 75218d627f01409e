"""Two transmitters, their imperfections, controls and test ports."""

from __future__ import annotations

import math

import numpy as np
import pytest

from daq.clock import ManualClock
from sim_instruments.controls import HandError
from sim_instruments.monitor import CHANNELS
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


@pytest.mark.parametrize(("off", "sign"), [(90, 1), (150, -1)])
@pytest.mark.parametrize("wrong", [{}, {"phase_error_deg": -152.0}, {"wanted_tone": 90}])
def test_with_one_tone_off_the_other_predominates_wherever_anybody_looks(off, sign, wrong):
    """By its whole depth in CSB alone, and everywhere whatever the phase and sense of SBO."""
    plant = still(width_ratio=0.66, **wrong)
    normal = [seen(plant, channel).ddm for channel in CHANNELS]
    plant.switch_tone(off, on=False)
    assert plant.truth().tones_off == [off]
    assert seen(plant, "course CSB").ddm == pytest.approx(0.2 * sign, abs=1e-5)
    assert seen(plant, "clearance CSB").ddm == pytest.approx(0.2 * sign, abs=1e-5)
    for channel in CHANNELS:
        assert 0.05 < sign * seen(plant, channel).ddm < 0.4
    volts = plant.volts("course CSB detector", 0.0, 9000.0, 9000)
    assert abs(np.fft.rfft(volts))[off] / 4500 < 0.002
    plant.switch_tone(off, on=True)
    assert [seen(plant, channel).ddm for channel in CHANNELS] == normal
    assert plant.truth().tones_off == []


def test_a_tone_that_is_off_takes_its_power_along():
    """Of the 4 per cent in two tones of 20 per cent, half; of SBO, half (AM theory)."""
    plant = still()
    before = plant.power_w("course SBO")
    plant.switch_tone(90, on=False)
    assert plant.power_w("course CSB") == pytest.approx(15.3)
    assert plant.power_w("course SBO") == pytest.approx(before / 2)


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


def lines_of(volts: np.ndarray, *bins: int) -> list[complex]:
    """Return lines of a record over one second, by FFT: amplitude and phase of a cosine."""
    lines = np.fft.rfft(volts) / (len(volts) / 2)
    return [complex(lines[each]) for each in bins]


def test_the_third_harmonic_is_its_own():
    """By FFT over a second: 3 per cent of 90 and of 150 Hz at 270 and 450 Hz, none at 180."""
    plant = still(tx1={"third_harmonic_percent": 3.0})
    l90, l150, l180, l270, l450 = lines_of(
        plant.volts("course CSB detector", 0.0, 9000.0, 9000), 90, 150, 180, 270, 450
    )
    assert abs(l270 / l90) == pytest.approx(0.03, abs=5e-4)
    assert abs(l450 / l150) == pytest.approx(0.03, abs=5e-4)
    assert abs(l180 / l90) < 5e-4


def test_each_carrier_s_modulator_has_its_own_phase_of_each_tone():
    """Clearance against course at the same moment: 14 degrees of 90, -11 of 150 Hz, by FFT."""
    plant = still(tx1={"clearance": {"tone_90_phase_deg": 14.0, "tone_150_phase_deg": -11.0}})
    course, clearance = (
        lines_of(plant.volts(f"{name} CSB detector", 3.0, 9000.0, 9000), 90, 150)
        for name in ("course", "clearance")
    )
    lead_deg = np.degrees(np.angle(np.array(clearance) / np.array(course)))
    assert lead_deg == pytest.approx([14.0, -11.0], abs=0.1)


def test_both_carriers_come_out_of_the_combiner():
    """6 dB down, the clearance carrier 12: two lines 9.5 kHz apart and their beat on a detector."""
    plant = still()
    field = plant.field("both CSB", Timebase(0.0, 48_000.0, 48_000))
    lines = np.abs(np.fft.fft(field)) / 48_000
    assert lines[4750] == pytest.approx(0.5, rel=1e-3)
    assert lines[-4750] == pytest.approx(0.25, rel=1e-3)
    volts = plant.volts("both CSB detector", 0.0, 40_000.0, 40_000)
    assert np.argmax(np.abs(np.fft.rfft(volts))[1000:]) + 1000 == 9500
    # Lowest where both tones are lowest: 0.6 of the carriers' difference.
    assert volts.min() == pytest.approx(0.6 * 0.25, abs=0.01)


def test_an_ident_can_be_found_suppressed():
    """As for maintenance; hands switch it on."""
    plant = still(ident_suppressed=1, tx1={"ident_depth": 0.08})
    assert plant.ident_depth == 0.0
    plant.key_ident("code")
    assert plant.ident_depth == pytest.approx(0.08)


def test_an_ident_comes_again_as_the_table_says():
    """Every seven seconds, and every second one a second late: at 0, 7 + 1, 14, 21 + 1 s."""
    plant = still(
        tx1={"ident_depth": 0.1, "ident_dot_s": 0.1, "ident_repeat_s": 7.0, "ident_late_s": 1.0}
    )
    volts = plant.volts("course CSB detector", 0.0, 6000.0, 6000 * 24)
    ident = np.abs(np.fft.rfft(volts.reshape(-1, 300) * np.hanning(300), axis=1))[:, 51]
    steps = np.flatnonzero(ident > 0.5 * ident.max())
    begins = steps[np.flatnonzero(np.diff(steps, prepend=-100) > 30)] * 0.05
    assert begins == pytest.approx([0.0, 8.0, 14.0, 22.0], abs=0.06)
