"""The ``[simulation.plant]`` table."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sim_instruments.parameters import PlantParameters


def test_the_demonstration_station_is_understood():
    """The table of the shipped station file has only keys that the plant knows."""
    path = Path(__file__).parents[2] / "procedures" / "stations" / "tarnholt-16.toml"
    table = tomllib.loads(path.read_text())["simulation"]["plant"]
    given = PlantParameters.from_table(table)
    assert given.phase_error_deg == table["phase_error_deg"]
    assert given.seed == table["seed"]


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ({"phase_eror_deg": 3}, r"simulation\.plant\.phase_eror_deg: unknown key"),
        (
            {"width_ratio": "wide"},
            r"simulation\.plant\.width_ratio: a number is expected, not 'wide'",
        ),
        ({"width_ratio": True}, r"simulation\.plant\.width_ratio: a number is expected, not True"),
        ({"seed": 1.5}, r"simulation\.plant\.seed: a whole number is expected"),
        ({"width_ratio": 0}, r"simulation\.plant\.width_ratio: above 0"),
        ({"phase_error_deg": 200}, r"simulation\.plant\.phase_error_deg: -180 to 180"),
        ({"wanted_tone": 100}, r"simulation\.plant\.wanted_tone: 90 or 150"),
        ({"receiver_noise_ddm": -1}, r"simulation\.plant\.receiver_noise_ddm"),
    ],
)
def test_bad_keys_are_named(table, message):
    """Every refusal names the key."""
    with pytest.raises(ValueError, match=message):
        PlantParameters.from_table(table)


def test_whole_numbers_stand_for_real_ones():
    """TOML's ``phase_error_deg = 20`` is a length of arc like any other."""
    assert PlantParameters.from_table({"phase_error_deg": 20}).phase_error_deg == 20.0
