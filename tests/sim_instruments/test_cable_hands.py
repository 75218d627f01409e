"""Hands on a feed cable: what they save, what they measure, what they refuse."""

import pytest

from sim_instruments.cable_hands import CableHands, cable_of
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant


@pytest.fixture
def hands(clock, rng, tmp_path):
    given = PlantParameters.from_table({"feeds": {"damaged": "clearance sbo transmitter"}})
    return CableHands(Plant(given, clock), rng, tmp_path)


def test_hands_save_a_sweep_in_their_own_folder_only(hands, tmp_path):
    told = hands.sweep({"name": "sbo transmitter", "file": "../../x.s1p"})
    assert told == {"text": "x.s1p"}
    assert (tmp_path / "x.s1p").is_file()


def test_hands_measure_match_and_insulation(hands):
    assert hands.match({"name": "csb transmitter"})["measured"] == pytest.approx(1.06, abs=0.03)
    bad = {"name": "clearance sbo transmitter"}
    assert hands.match(bad)["measured"] == pytest.approx(1.4, abs=0.03)
    assert hands.insulation(bad)["measured"] == pytest.approx(8.0, rel=0.15)


@pytest.mark.parametrize(
    ("given", "match"),
    [({}, "'name' is missing"), ({"name": "sbo"}, "no cable"), ({"name": "x monitor"}, "no cable")],
)
def test_a_cable_that_is_not_there_is_said(hands, given, match):
    with pytest.raises(ValueError, match=match):
        hands.match(given)


def test_a_sweep_without_a_name_is_refused(hands):
    with pytest.raises(ValueError, match="under a name"):
        hands.sweep({"name": "sbo transmitter"})


def test_a_cable_is_called_by_its_path_and_stage():
    assert cable_of("clearance sbo transmitter") == ("clearance sbo", "transmitter")
