"""The plant as a receiver and a probe see it, against the physics of the trade."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.clock import ManualClock
from sim_instruments.cable import Cable
from sim_instruments.controls import HandError
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import demodulate

PERFECT_HAND = HandError(0, 0, 0)


def quiet(**table) -> Plant:
    """Return a plant without noise, drift and hand error."""
    still = {"receiver_noise_ddm": 0.0, "phase_drift_deg": 0.0, "level_drift_db": 0.0}
    return Plant(PlantParameters(**{**still, **table}), ManualClock(), hand=PERFECT_HAND)


def ddm(plant: Plant, point: str = "course width", t0_s: float = 0.0) -> float:
    return demodulate(plant.baseband(point, t0_s, 48_000, 4800)).ddm


def test_channels_as_they_should_be():
    """In phase and at nominal width: 0.155 DDM, clearance -0.21 and +0.21, on course near zero."""
    plant = quiet()
    assert ddm(plant, "course width") == pytest.approx(0.155, abs=2e-5)
    assert ddm(plant, "course line") == pytest.approx(0.0, abs=1e-3)
    assert ddm(plant, "clearance 90") == pytest.approx(-0.21, abs=2e-4)
    assert ddm(plant, "clearance 150") == pytest.approx(0.21, abs=2e-4)


@given(phase_deg=st.floats(-180, 180), ratio=st.floats(0.3, 1.7))
@settings(max_examples=30, deadline=None)
def test_phase_error_and_width_ratio_are_as_told(phase_deg, ratio):
    """The lengths that were built give the phase and the level that the table asked for."""
    truth = quiet(phase_error_deg=phase_deg, width_ratio=ratio).truth()
    turn = math.remainder(truth.phase_deg - phase_deg, 360)
    assert turn == pytest.approx(0, abs=1e-6)
    assert truth.sbo_to_csb == pytest.approx(0.0775 * ratio)


@pytest.mark.parametrize("wanted", [90, 150])
@pytest.mark.parametrize(("path", "sign"), [("sbo", 1), ("csb", -1)])
@pytest.mark.parametrize("phase_deg", [-152, -40, 10, 75, 170])
def test_quadrature_reading_in_all_four_cases(wanted, path, sign, phase_deg):
    """Line in SBO: D sin(phi); in CSB: -D sin(phi); D signed by the wanted tone.

    First-order AM theory (measurement notes, F4); at s = 0.0775 it holds within one per cent.
    """
    plant = quiet(phase_error_deg=phase_deg, wanted_tone=wanted, line_loss_db=0.0)
    full = 0.155 if wanted == 150 else -0.155
    assert ddm(plant) == pytest.approx(full * math.cos(math.radians(phase_deg)), abs=1.6e-3)
    plant.insert_line(path, "transmitter")
    expected = sign * full * math.sin(math.radians(phase_deg))
    assert ddm(plant) == pytest.approx(expected, abs=1.6e-3)
    plant.remove_line(path, "transmitter")
    assert plant.truth().lines_in == []


@given(phase_deg=st.floats(-180, 180), wanted=st.sampled_from([90, 150]))
@settings(max_examples=30, deadline=None)
def test_cutting_the_exact_length_zeroes_the_quadrature_reading(phase_deg, wanted):
    """SBO that lags is mended by a shorter SBO line, SBO that leads by a shorter CSB line."""
    plant = quiet(phase_error_deg=phase_deg, wanted_tone=wanted, spare_m=1.32)
    wavelength_m = Cable(1, 0.82).wavelength_m(109.35e6 + 4750)
    path = "sbo" if phase_deg < 0 else "csb"
    plant.cut(path, "monitor", abs(phase_deg) / 360 * wavelength_m)
    normal = ddm(plant)
    plant.insert_line("sbo", "transmitter")
    assert ddm(plant) == pytest.approx(0.0, abs=3e-5)
    assert normal == pytest.approx(0.155 if wanted == 150 else -0.155, abs=1.5e-3)


def test_line_loss_and_angle_error_are_in_the_line():
    """A line of 90 + 3 degrees and 0.5 dB turns in-phase SBO to -93 degrees, 0.5 dB down."""
    plant = quiet(line_angle_error_deg=3.0, line_loss_error_db=0.15)
    plant.insert_line("sbo", "transmitter")
    truth = plant.truth()
    assert truth.phase_deg == pytest.approx(-93.0, abs=1e-6)
    assert 20 * math.log10(truth.sbo_to_csb / 0.0775) == pytest.approx(-0.5, abs=1e-6)


def test_half_a_wavelength_reverses_the_sense():
    """Half a wavelength out of either line turns 150 Hz predominating into 90 Hz."""
    for path in ("sbo", "csb"):
        plant = quiet()
        plant.cut(path, "monitor", Cable(1, 0.82).wavelength_m(109.35e6 + 4750) / 2)
        assert ddm(plant) == pytest.approx(-0.155, abs=2e-3)


def test_there_is_one_line_and_it_moves():
    """Putting the line elsewhere takes it out where it was."""
    plant = quiet()
    plant.insert_line("sbo", "transmitter")
    plant.insert_line("csb", "monitor")
    assert plant.truth().lines_in == ["csb monitor"]


def test_cut_beyond_what_is_there_is_refused_and_changes_nothing():
    """The slack is what there is; refused cuts leave the cable whole."""
    plant = quiet(spare_m=0.5)
    plant.cut("sbo", "monitor", 0.3)
    before = plant.truth()
    with pytest.raises(ValueError, match=r"0\.3000 m is more than the 0\.2000 m to spare"):
        plant.cut("sbo", "monitor", 0.3)
    assert plant.truth() == before
    assert before.cuts == [("sbo monitor", 0.3)]


def test_width_control_changes_level_and_a_little_phase():
    """3 dB up is a DDM 1.4125 times as large, and about one degree a decibel."""
    plant = quiet(width_ratio=0.6)
    plant.turn("monitor width", plant.fraction_for("monitor width", change_db=3.0))
    truth = plant.truth()
    assert truth.sbo_to_csb / (0.6 * 0.0775) == pytest.approx(10 ** (3 / 20))
    assert truth.phase_deg == pytest.approx(3.0)


def test_fine_control_goes_40_degrees_from_stop_to_stop():
    """Half its range to each side of the middle; then a stop is felt."""
    plant = quiet()
    felt = plant.turn("monitor SBO phase", 0.8)
    assert felt.at_stop
    assert plant.truth().phase_deg == pytest.approx(20.0)
    plant.turn("monitor SBO phase", -5)
    assert plant.truth().phase_deg == pytest.approx(-20.0)


def test_wide_profile_lowers_course_and_clearance():
    """-1.618 dB of SBO is 17 per cent less sensitivity (standards, D2)."""
    plant = quiet()
    for control in ("course SBO level", "clearance SBO level"):
        plant.turn(control, plant.fraction_for(control, change_db=-1.618))
    assert ddm(plant) == pytest.approx(0.155 * 0.83, abs=5e-5)
    assert ddm(plant, "clearance 150") == pytest.approx(0.21 * 0.83, abs=2e-4)
    plant.restore("course SBO level")
    assert ddm(plant) == pytest.approx(0.155, abs=2e-5)


def test_receiver_noise_is_what_the_table_says():
    """300 readings of 0.1 s scatter by 0.0003 DDM (chi-square, 4 standard deviations)."""
    plant = Plant(PlantParameters(phase_drift_deg=0.0, level_drift_db=0.0), ManualClock())
    readings = [ddm(plant, t0_s=0.1 * i) for i in range(300)]
    assert np.std(readings) == pytest.approx(0.0003, rel=4 / math.sqrt(600))
    assert np.mean(readings) == pytest.approx(0.155, abs=1e-4)


def test_drift_moves_phase_slowly_and_the_same_for_a_seed():
    """A plant of the same seed drifts the same way; at time zero nothing has drifted."""

    def phases(seed):
        clock = ManualClock()
        plant = Plant(PlantParameters(seed=seed, phase_drift_deg=1.0), clock)
        found = [plant.truth().phase_deg]
        for _ in range(5):
            clock.sleep(600)
            found.append(plant.truth().phase_deg)
        return found

    assert phases(3) == phases(3)
    assert phases(3)[0] == pytest.approx(0.0, abs=1e-9)
    assert 0.01 < np.std(phases(3)) < 3


def test_if_levels_follow_their_controls_and_start_off():
    """As found 15 to 35 per cent off 1.5 V; with the control in the middle 1.5 V peak to peak."""
    plant = quiet()
    for channel in ("course line", "course width", "clearance 90", "clearance 150"):
        found = np.ptp(plant.volts(f"{channel} IF", 0.0, 400e3, 40_000))
        assert 0.1 < abs(found / 1.5 - 1) < 0.4
        plant.place(f"{channel} IF level", 0.5)
        assert np.ptp(plant.volts(f"{channel} IF", 0.0, 400e3, 40_000)) == pytest.approx(
            1.5, rel=0.05
        )


def test_phase_detector_beats_at_the_separation_of_the_carriers():
    """The strongest line stands at 9.5 kHz."""
    volts = quiet().volts("phase detector", 0.0, 200e3, 4000)
    assert np.argmax(np.abs(np.fft.rfft(volts))) * 50 == 9500


@pytest.mark.parametrize(
    ("channel", "own_bin", "other_db"),
    [("course width", 475, -40), ("course line", 475, -40), ("clearance 90", -475, -30)],
)
def test_both_carriers_are_summed_in_every_channel(channel, own_bin, other_db):
    """Lines of 0.1 s at +4750 Hz (course) and -4750 Hz (clearance), the other one well down."""
    lines = np.abs(np.fft.fft(quiet().baseband(channel, 0.0, 48_000, 4800))) / 4800
    assert lines[own_bin] == pytest.approx(1.0)
    assert 20 * math.log10(lines[-own_bin]) == pytest.approx(other_db, abs=0.01)


def test_detector_output_is_dc_coupled():
    """DDM over the mean of the detector's volts, by FFT over 0.1 s, is the channel's DDM."""
    lines = np.abs(
        np.fft.rfft(quiet(width_ratio=0.5).volts("course width detector", 0, 40e3, 4000))
    )
    assert 2 * (lines[15] - lines[9]) / lines[0] == pytest.approx(0.0775, abs=2e-4)


def test_unknown_names_are_refused_with_the_known_ones():
    """A trainee sees what there is."""
    plant = quiet()
    with pytest.raises(ValueError, match=r"no control 'knob'; there are monitor SBO phase"):
        plant.turn("knob", 0.1)
    with pytest.raises(ValueError, match="no cable 'rf' at 'monitor'"):
        plant.cut("rf", "monitor", 0.1)
    with pytest.raises(ValueError, match="no probe point 'course line'"):
        plant.volts("course line", 0, 1e5, 100)
    with pytest.raises(ValueError, match="does not change that"):
        plant.fraction_for("course line IF level", change_deg=3.0)


def test_nothing_but_noise_where_no_signal_is():
    """A receiver that hangs in the air hears no carrier."""
    plant = quiet()
    assert np.all(plant.baseband("", 0, 48_000, 480) == 0)
