"""Array patterns against closed forms, an independent sum and a method-of-moments program."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim_instruments.antennas import clearance_array, course_array
from sim_instruments.array import Array, Pair
from sim_instruments.geometry import Position

WAVE_M = 2.7416
FAR_M = 1e6


def far(array: Array, azimuth_deg: float) -> tuple[complex, complex]:
    """Return C and S far out, without the element's own pattern."""
    place = Position.at_azimuth(FAR_M, azimuth_deg)
    element = (1 + math.cos(math.radians(azimuth_deg))) / 2
    c, s = array.at(place, WAVE_M)
    return c * FAR_M / element, s * FAR_M / element


@given(azimuth=st.floats(-60, 60), distance=st.floats(0.1, 0.5), ratio=st.floats(0.01, 1))
def test_one_pair_in_closed_form(azimuth, distance, ratio):
    """S/C = (b/a) tan(k d sin th), so DDM = 2 (b/a) tan(k d sin th) (standards, E5 and F5)."""
    x = 2 * math.pi * distance * math.sin(math.radians(azimuth))
    if abs(math.cos(x)) < 0.05:
        return
    c, s = far(Array.of_pairs([Pair(distance * WAVE_M, 1.0, ratio)]), azimuth)
    assert (s / c).real == pytest.approx(ratio * math.tan(x), rel=1e-3, abs=1e-5)
    assert abs((s / c).imag) < 1e-3


@pytest.mark.parametrize("azimuth", [-35.0, -9.0, 0.0, 1.96, 7.5, 20.0])
def test_several_pairs_in_the_far_field(azimuth):
    """C = 2 sum a cos(k d sin th), S = 2 sum b sin(k d sin th), both real (standards, F5)."""
    pairs = [Pair(0.9, 1.0, 0.3), Pair(3.1, 0.6, 0.5), Pair(5.2, 0.2, 0.4)]
    kd = [2 * math.pi * p.distance_m / WAVE_M * math.sin(math.radians(azimuth)) for p in pairs]
    c = sum(p.csb * math.cos(x) for p, x in zip(pairs, kd, strict=True)) / 1.8
    s = sum(p.sbo * math.sin(x) for p, x in zip(pairs, kd, strict=True)) / 1.8
    found = far(Array.of_pairs(pairs), azimuth)
    assert found[0] == pytest.approx(c, abs=2e-4)
    assert found[1] == pytest.approx(s, abs=2e-4)


def test_the_near_field_against_a_sum_element_by_element():
    """Written out again with distances by hand, 60 m off: nothing is approximated there."""
    array, place = course_array(WAVE_M), Position(58.0, -13.0)
    c = s = 0j
    for x_m, csb, sbo in zip(array.lateral_m, array.csb, array.sbo, strict=True):
        r_m = math.sqrt(58.0**2 + (-13.0 - x_m) ** 2)
        wave = 0.5 * (1 + 58.0 / r_m) / r_m * cmath.exp(-1j * 2 * math.pi / WAVE_M * r_m)
        c, s = c + wave * csb, s + wave * sbo
    found_c, found_s = array.at(place, WAVE_M)
    assert abs(found_c) == pytest.approx(abs(c))
    assert found_s / found_c == pytest.approx(s / c)


def test_near_and_far_field_differ():
    """At 60 m the course array of 20 m is not in the far field (2 D^2/lambda is 280 m)."""
    array = course_array(WAVE_M)
    near_c, near_s = array.at(Position.at_azimuth(60.0, 2.0), WAVE_M)
    far_c, far_s = array.at(Position.at_azimuth(6000.0, 2.0), WAVE_M)
    assert abs(near_s / near_c - far_s / far_c) > 0.1 * abs(far_s / far_c)


@given(azimuth=st.floats(0.1, 60), radius=st.floats(20, 20_000))
def test_both_arrays_are_antisymmetric(azimuth, radius):
    """Right and left see the same C and the opposite S, in the near field too."""
    for array in (course_array(WAVE_M), clearance_array(WAVE_M)):
        c, s = array.at(Position.at_azimuth(radius, azimuth), WAVE_M)
        c_left, s_left = array.at(Position.at_azimuth(radius, -azimuth), WAVE_M)
        assert c_left == pytest.approx(c, abs=1e-9)
        assert s_left == pytest.approx(-s, abs=1e-9)


def test_power_of_the_inputs_is_the_sum_over_the_elements():
    """Two elements: SBO over CSB is (b/a)^2."""
    assert Array.of_pairs([Pair(1.0, 2.0, 0.5)]).sbo_to_csb_power == pytest.approx(1 / 16)


@pytest.mark.parametrize("make", [course_array, clearance_array])
@pytest.mark.parametrize(("csb", "sbo"), [(1.0, 0.0), (0.0, 1.0), (0.2, 1.0)])
def test_patterns_against_nec(make, csb, sbo):
    """NEC-2 with elements that are short dipoles, whose currents follow their voltages.

    necpp is not required; where it is installed, the patterns agree within 0.15 dB of the
    maximum down to 20 dB below it, and within 1 per cent of the maximum everywhere. CSB, SBO, and
    the sum that makes the 150 Hz sidebands, which is lopsided and shows that C and S are in phase.
    """
    necpp = pytest.importorskip("necpp")
    array = make(WAVE_M)
    azimuths = np.arange(-60, 61, 2.0)
    currents = csb * array.csb + sbo * array.sbo
    found = _nec_pattern(necpp, array.lateral_m, currents, azimuths)
    ours = np.array([abs(np.dot((csb, sbo), far(array, azimuth))) for azimuth in azimuths])
    ours /= ours.max()
    assert np.abs(found - ours).max() < 0.01
    strong = ours > 0.1
    assert np.abs(20 * np.log10(found[strong] / ours[strong])).max() < 0.15


def _nec_pattern(necpp, lateral_m, currents, azimuths):
    """Return NEC's field strength over azimuth, largest 1: vertical dipoles in free space."""
    nec = necpp.nec_create()
    half = WAVE_M / 80
    driven = [n for n, current in enumerate(currents) if current]
    for tag, n in enumerate(driven, 1):
        y = lateral_m[n]
        necpp.nec_wire(nec, tag, 3, 0, y, -half, 0, y, half, WAVE_M / 5000, 1, 1)
    necpp.nec_geometry_complete(nec, 0)
    necpp.nec_gn_card(nec, -1, 0, 0, 0, 0, 0, 0, 0)
    necpp.nec_fr_card(nec, 0, 1, 299.792458 / WAVE_M, 0)
    for tag, n in enumerate(driven, 1):
        # NEC's angles grow towards +y: that is our positive side.
        current = complex(currents[n])
        necpp.nec_excitation_voltage(nec, tag, 2, current.real, current.imag)
    step = azimuths[1] - azimuths[0]
    necpp.nec_rp_card(nec, 0, 1, len(azimuths), 0, 5, 0, 0, 90, azimuths[0], 0, step, 0, 0)
    gains = np.array([necpp.nec_gain(nec, 0, 0, n) for n in range(len(azimuths))])
    necpp.nec_delete(nec)
    field = 10 ** (gains / 20)
    return field / field.max()
