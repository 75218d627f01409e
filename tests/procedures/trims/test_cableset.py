"""A set of cables matched to the shortest."""

from __future__ import annotations

import pytest

from daq.errors import InputError
from procedures.trims.cable import phase_for_length_deg
from procedures.trims.cableset import match_cables
from procedures.trims.sweep import CableSweep

CARRIER_HZ = 109.35e6


def cable(length_m: float, *, loss_db: float = 0.6, ripple_db: float = 0.05) -> CableSweep:
    return CableSweep(
        name=f"{length_m:g}.s1p",
        delay_deg=phase_for_length_deg(length_m, CARRIER_HZ, 0.82),
        delay_u_deg=0.3,
        electrical_m=length_m / 0.82,
        group_delay_s=0.0,
        loss_db=loss_db,
        ripple_db=ripple_db,
        velocity_factor=0.82,
    )


def test_every_cable_is_cut_to_the_electrically_shortest() -> None:
    found = match_cables([cable(10.05), cable(10.0), cable(10.2)], CARRIER_HZ)
    assert [one.cut_m for one in found] == pytest.approx([0.05, 0.0, 0.2])
    assert [one.error_left_deg for one in found] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    assert [one.excess_u_deg for one in found] == pytest.approx([0.4243, 0.0, 0.4243], abs=1e-4)


def test_the_allowance_is_left_on_and_told_as_error() -> None:
    found = match_cables([cable(10.05), cable(10.0)], CARRIER_HZ, allowance_m=0.01)
    assert found[0].cut_m == pytest.approx(0.04)
    assert found[0].error_left_deg == pytest.approx(phase_for_length_deg(0.01, CARRIER_HZ, 0.82))


def test_the_velocity_factor_of_each_cable_turns_its_delay_into_length() -> None:
    slow = CableSweep("slow", 1000.0, 0.0, 1.0, 0.0, 0.6, 0.0, 0.66)
    other = CableSweep("other", 1000.0, 0.0, 1.0, 0.0, 0.6, 0.0, None)
    short = CableSweep("short", 900.0, 0.0, 1.0, 0.0, 0.6, 0.0, 0.66)
    found = match_cables([slow, other, short], CARRIER_HZ, velocity_factor=0.84)
    assert found[1].cut_m / found[0].cut_m == pytest.approx(0.84 / 0.66)
    with pytest.raises(InputError, match="other: neither its velocity factor"):
        match_cables([slow, other, short], CARRIER_HZ)


def test_a_lossy_or_rippled_cable_is_flagged() -> None:
    found = match_cables(
        [cable(10.0), cable(10.1), cable(10.2, loss_db=1.4), cable(10.3, ripple_db=0.9)], CARRIER_HZ
    )
    assert [bool(one.damaged) for one in found] == [False, False, True, True]
    assert "above the middle of the set" in found[2].damaged[0]
    assert "ripples" in found[3].damaged[0]


def test_one_cable_is_no_set() -> None:
    with pytest.raises(InputError, match="two cables or more"):
        match_cables([cable(10.0)], CARRIER_HZ)
