"""Bends from one reflecting sheet."""

from __future__ import annotations

import numpy as np
import pytest

from daq.clock import ManualClock
from sim_instruments.geometry import Position
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.sheet import Sheet

ELEMENTS = np.array([0.0])
WAVE_M = 2.74


def test_no_sheet_by_default_and_no_bends():
    """On the course line of the default plant the DDM is nothing at all."""
    plant = Plant(PlantParameters(), ManualClock())
    assert max(abs(plant.field_truth(Position(x)).ddm) for x in range(500, 4000, 250)) < 1e-9


def test_a_sheet_makes_bends_around_its_mirror_zone():
    """Mirror geometry: a sheet at 900 to 1000 m throws its ray on the line around 1900 m."""
    plant = Plant(PlantParameters.from_table({"sheet": {"reflection": 0.8}}), ManualClock())

    def swing(start: int, end: int) -> float:
        return float(np.ptp([plant.field_truth(Position(x)).ddm for x in range(start, end, 3)]))

    # From the array over the sheet's middle at 950 m, back on the line at twice that distance.
    assert swing(1820, 1980) > 2 * swing(5000, 5160)
    assert swing(1820, 1980) > 0.005


def test_a_long_sheet_is_a_mirror():
    """Far from both ends the Fresnel integrals are whole: the reflection factor itself."""
    sheet = Sheet(lateral_m=100.0, start_m=-50_000.0, end_m=50_000.0, reflection=-0.7)
    gain = sheet.gain(ELEMENTS, Position(2000.0, 10.0), WAVE_M)
    assert gain[0] == pytest.approx(-0.7, abs=0.01)


def test_half_the_field_at_a_sheets_edge():
    """Where the mirror point is the end itself, half of the amplitude is left (Fresnel)."""
    sheet = Sheet(lateral_m=100.0, start_m=1000.0, end_m=90_000.0, reflection=1.0)
    # Image at 200 m: the ray to (2000, 0) meets the wall halfway, at 1000 m.
    gain = sheet.gain(ELEMENTS, Position(2000.0, 0.0), WAVE_M)
    assert gain[0] == pytest.approx(0.5, abs=0.01)


def test_the_reflected_ray_is_as_long_as_from_the_image():
    """Pythagoras: 2000 m along, 2 x 100 - 10 m across."""
    length_m = Sheet(lateral_m=100.0).image_distance_m(ELEMENTS, Position(2000.0, 10.0))
    assert length_m[0] == pytest.approx((2000**2 + 190**2) ** 0.5)


@pytest.mark.parametrize("place", [Position(2000.0, 150.0), Position(-500.0, 0.0)])
def test_nothing_is_reflected_behind_the_sheet_or_the_array(place):
    """There is no ray there."""
    assert Sheet(lateral_m=100.0, reflection=1.0).gain(ELEMENTS, place, WAVE_M)[0] == 0


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"reflection": 2.0}, r"simulation\.plant\.sheet\.reflection"),
        ({"lateral_m": 0.0}, "lateral_m is not to be 0"),
        ({"start_m": 10.0, "end_m": 5.0}, "above start_m"),
    ],
)
def test_impossible_sheets_are_refused(table, message):
    """The message names the key."""
    with pytest.raises(ValueError, match=message):
        PlantParameters.from_table({"sheet": table})
