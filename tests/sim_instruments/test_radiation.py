"""What a receiver finds in front of the tuned arrays, against the standards and the physics."""

from __future__ import annotations

import math
import time
from functools import cache

import numpy as np
import pytest
from scipy.special import ellipe, ellipk

from daq.clock import ManualClock
from sim_instruments.controls import HandError
from sim_instruments.geometry import Position
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.receiver_dsp import RATE_HZ, Demodulated, demodulate
from sim_instruments.signals import Timebase

FAR_M = 9000.0


def still(**table) -> Plant:
    """Return a plant without noise, drift and hand error."""
    quiet = {"receiver_noise_ddm": 0.0, "phase_drift_deg": 0.0, "level_drift_db": 0.0}
    given = PlantParameters.from_table({**quiet, **table})
    return Plant(given, ManualClock(), hand=HandError(0, 0, 0))


def seen(plant: Plant, place: Position) -> Demodulated:
    return demodulate(plant.field(place, Timebase(0.0, RATE_HZ, 4800)))


@cache
def sweep() -> tuple[np.ndarray, list[Demodulated]]:
    """Return azimuths from -35 to 35 degrees and what is seen there."""
    plant, azimuths = still(), np.arange(-35.0, 35.01, 0.25)
    return azimuths, [seen(plant, Position.at_azimuth(FAR_M, float(a))) for a in azimuths]


def test_displacement_sensitivity_at_the_threshold():
    """0.00145 DDM/m (Annex 10, Att. C, Fig. C-9) by a straight line over the half sectors."""
    plant, lateral = still(), np.linspace(-53, 53, 21)
    ddm = [seen(plant, Position(3120.0, float(y))).ddm for y in lateral]
    slope, offset = np.polyfit(lateral, ddm, 1)
    assert slope == pytest.approx(0.00145, rel=0.005)
    assert offset == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("threshold_m", "half_deg"), [(3120.0, 1.962), (2400.0, 2.550)])
def test_sector_edge_comes_where_the_runway_wants_it(threshold_m, half_deg):
    """0.155 DDM at 106.9 m either side (0.155/0.00145), 150 Hz to the right of the approach."""
    plant = still(threshold_m=threshold_m)
    assert seen(plant, Position(threshold_m, 106.9)).ddm == pytest.approx(0.155, abs=1e-4)
    assert seen(plant, Position(threshold_m, -106.9)).ddm == pytest.approx(-0.155, abs=1e-4)
    edge = Position.at_azimuth(threshold_m, half_deg)
    assert seen(plant, edge).ddm == pytest.approx(0.155, abs=2e-4)


def test_ddm_is_linear_up_to_0_180():
    """Annex 10, 3.1.3.7.3: substantially linear from the course line to 0.180."""
    azimuths, found = sweep()
    ddm = np.array([each.ddm for each in found])
    linear = np.abs(ddm) <= 0.18
    slope = np.dot(azimuths[linear], ddm[linear]) / np.dot(azimuths[linear], azimuths[linear])
    assert np.abs(ddm[linear] - slope * azimuths[linear]).max() < 0.002
    assert np.abs(azimuths[linear]).max() < 2.5


def test_clearance_meets_the_standard_on_both_sides():
    """From 0.180 to 10 degrees not below 0.180, to 35 degrees not below 0.155 (Annex 10,
    3.1.3.7.3), the right tone predominating, and never over-modulated for a receiver (0.6)."""
    azimuths, found = sweep()
    ddm = np.array([each.ddm for each in found])
    off = np.abs(azimuths)
    assert np.all(np.sign(ddm[off > 0.1]) == np.sign(azimuths[off > 0.1]))
    assert np.abs(ddm[(off > 2.4) & (off <= 10)]).min() >= 0.180
    assert np.abs(ddm[(off >= 10)]).min() >= 0.155
    assert max(each.sdm for each in found) < 0.6


def test_course_carrier_leads_in_the_sector_and_clearance_outside():
    """At least 10 dB in the course sector (Annex 10, 3.1.3.3.4, from memory); far out, -10 dB."""
    plant = still()
    sector = [plant.field_truth(Position.at_azimuth(FAR_M, a)) for a in (-1.96, 0.0, 1.96)]
    assert min(each.course_to_clearance_db for each in sector) > 10
    outside = [plant.field_truth(Position.at_azimuth(FAR_M, a)) for a in np.arange(14, 36, 0.5)]
    assert max(each.course_to_clearance_db for each in outside) < -10


@pytest.mark.parametrize("azimuth", [6.0, 7.0, 7.5, 8.0, 8.5, 10.0])
def test_capture_in_the_field_is_the_elliptic_integral(azimuth):
    """Two carriers, small modulation: weights (E_i/F) dF/dE_i of F = (2/pi)(E1+E2) E(kappa).

    Standards, F8 and D7. Depths of 0.004 keep the modulation small; S is scaled down alike.
    """
    small = {"depth_90": 0.004, "depth_150": 0.004, "sbo_level_db": -40.0}
    plant = still(tx1={"course": small, "clearance": small})
    place = Position.at_azimuth(FAR_M, azimuth)
    strong, weak = plant.carriers(place, 0.0)
    e1, e2 = abs(strong.csb), abs(weak.csb)
    own = [2 * (c.sbo / c.csb).real for c in (strong, weak)]
    m = 4 * e1 * e2 / (e1 + e2) ** 2

    def weight(mine: float, other: float) -> float:
        # dF/dE1 with dE(m)/dm = (E - K)/2m (Abramowitz and Stegun 17.3, from memory).
        slope_m = 4 * other * (other - mine) / (mine + other) ** 3
        down = ellipe(m) + (mine + other) * slope_m * (ellipe(m) - ellipk(m)) / (2 * m)
        return mine * down / ((mine + other) * ellipe(m))

    w1, w2 = weight(e1, e2), weight(e2, e1)
    assert w1 + w2 == pytest.approx(1.0)
    # The receiver's low-pass sees the beat's harmonics fold at 48 kHz: one per cent of slack.
    assert seen(plant, place).ddm == pytest.approx(w1 * own[0] + w2 * own[1], rel=0.015, abs=2e-6)


def test_a_carrier_can_be_switched_off():
    """Clearance alone at 15 degrees; course alone has its own S/C on the line's edge."""
    plant = still()
    plant.switch_carrier("clearance", on=False)
    edge = Position(3120.0, 106.9)
    course = plant.carriers(edge, 0.0)[0]
    assert seen(plant, edge).ddm == pytest.approx(2 * (course.sbo / course.csb).real, abs=1e-5)
    plant.switch_carrier("clearance", on=True)
    plant.switch_carrier("course", on=False)
    assert seen(plant, edge).ddm < 0.1
    with pytest.raises(ValueError, match="no carrier 'glide'"):
        plant.switch_carrier("glide", on=False)


@pytest.mark.parametrize("carrier", ["course", "clearance"])
@pytest.mark.parametrize(("radius_m", "slack"), [(FAR_M, 1e-3), (300.0, 4e-3)])
def test_transmit_phasing_by_quarter_wave_line(carrier, radius_m, slack):
    """Line in SBO: D sin(phi), line out: D cos(phi), near and far (measurement notes)."""
    azimuth = 1.5 if carrier == "course" else 15.0
    prefix = "" if carrier == "course" else "clearance "
    key = "transmit_phase_error_deg" if carrier == "course" else "clearance_phase_error_deg"
    plant = still(**{key: 25.0, "line_loss_db": 0.0})
    plant.switch_carrier("clearance" if carrier == "course" else "course", on=False)
    place = Position.at_azimuth(radius_m, azimuth)
    own = plant.carriers(place, 0.0)[0 if carrier == "course" else 1]
    full = 2 * abs(own.sbo / own.csb)
    array_deg = math.degrees(np.angle(own.sbo / own.csb)) - 25.0
    phi = math.radians(25.0 + array_deg)
    assert seen(plant, place).ddm == pytest.approx(full * math.cos(phi), rel=0.02)
    plant.insert_line(f"{prefix}sbo", "transmitter")
    assert seen(plant, place).ddm == pytest.approx(full * math.sin(phi), rel=0.05, abs=slack)
    control = f"{carrier} SBO phase"
    plant.turn(control, plant.fraction_for(control, change_deg=-math.degrees(phi) / 2))
    assert seen(plant, place).ddm == pytest.approx(full * math.sin(phi / 2), rel=0.05, abs=slack)


def test_alignment_moves_the_course_by_what_it_adds():
    """0.01 DDM is 6.9 m at the threshold (standards, F7)."""
    plant = still()
    plant.turn("course alignment", plant.fraction_for("course alignment", change_ddm=0.01))
    assert seen(plant, Position(3120.0)).ddm == pytest.approx(0.01, rel=0.05)
    shifted = Position(3120.0, -0.01 / 0.00145)
    assert seen(plant, shifted).ddm == pytest.approx(0.0, abs=4e-4)
    assert seen(plant, Position(3120.0, 53.4)).ddm == pytest.approx(0.0874, abs=1e-3)


def test_power_halves_at_3_db_and_ddm_stays():
    """Carrier power takes SBO along."""
    plant = still()
    edge = Position(3120.0, 106.9)
    plant.switch_carrier("clearance", on=False)
    before = seen(plant, edge)
    plant.turn("course carrier power", plant.fraction_for("course carrier power", change_db=-3.0))
    after = seen(plant, edge)
    assert 20 * math.log10(after.carrier / before.carrier) == pytest.approx(-3.0, abs=1e-3)
    assert after.ddm == pytest.approx(before.ddm, abs=1e-6)


def test_level_falls_with_distance():
    """Free space: half the field at twice the distance."""
    plant = still()
    ratio = seen(plant, Position(4000.0)).carrier / seen(plant, Position(8000.0)).carrier
    assert ratio == pytest.approx(2.0, rel=2e-3)


def test_a_traverse_of_60_points_takes_less_than_a_second():
    """Processor time, with noise."""
    plant = Plant(PlantParameters(), ManualClock())
    started = time.process_time()
    for lateral in range(-30, 30):
        demodulate(plant.baseband(Position(3120.0, lateral), 0.0, RATE_HZ, 4800))
    assert time.process_time() - started < 1.0


def test_noise_in_the_field_is_never_below_the_receivers_own():
    """0.0003 DDM at 300 m where the signal is ten times as strong, and at the threshold."""
    plant = Plant(PlantParameters(), ManualClock())
    for along in (300.0, 3120.0):
        readings = [
            demodulate(plant.baseband(Position(along), 0.0, RATE_HZ, 4800)).ddm for _ in range(200)
        ]
        assert np.std(readings) == pytest.approx(0.0003, rel=0.2)


def test_among_the_elements_there_is_no_place_for_a_receiver():
    """The message says how near."""
    with pytest.raises(ValueError, match=r"0\.50 m from the array"):
        still().carriers(Position(0.5), 0.0)
