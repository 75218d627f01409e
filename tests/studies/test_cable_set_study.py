"""100 seeded cable sets are cut to one length, and judged as the cables really are."""

from __future__ import annotations

import numpy as np
import pytest

from sim_instruments.cable import Cable
from sim_instruments.cable_hands import cable_of
from tests.support.ground import Called, Ran, called, check_calls, each, ground, table

CABLES = (
    "csb transmitter",
    "sbo transmitter",
    "clearance csb transmitter",
    "clearance sbo transmitter",
)
FREQUENCY_HZ = 109.35e6
TIGHT = {'matched = "2 deg"': 'matched = "1 deg"', 'allowance = "0.005 m"': 'allowance = "0.002 m"'}
"""A set that asks for more than a hand can always cut, so that there is something to reject."""


def cable_calls(rng: np.random.Generator) -> list[Called]:
    """Match one set; every verdict with the truth of its cable."""
    damaged = CABLES[int(rng.integers(4))] if rng.random() < 0.2 else ""
    vswr, megohm = float(rng.uniform(1.02, 1.3)), float(rng.uniform(8.0, 60.0))
    feeds = {
        "vswr": vswr,
        "insulation_megohm": megohm,
        "damaged": damaged,
        "damaged_echo": 0.04,
    }
    plant = {
        "seed": int(rng.integers(1, 2**31)),
        "transmit_phase_error_deg": float(rng.uniform(-100.0, 100.0)),
        "clearance_phase_error_deg": float(rng.uniform(-100.0, 100.0)),
        "feeds": feeds,
    }
    with ground(plant, TIGHT) as on:
        ran = on.run("cable-set")
        delay = {name: _delay_deg(on.plant.cable(*cable_of(name))) for name in CABLES}
    assert ran.end.result == "finished" or "not of one length" in ran.end.message, ran.end
    flagged = [told for told in ran.told if "looks damaged" in told]
    assert bool(flagged) == bool(damaged), ran.told
    assert all(f"'{damaged}'" in told for told in flagged)
    rows = ran.judged()
    calls = []
    for name in CABLES:
        broken = name == damaged
        insulation = 8.0 if broken else megohm
        calls.append(called(rows[f"cables/feed/{name}/vswr/verdict"], 1.4 if broken else vswr))
        calls.append(called(rows[f"cables/feed/{name}/insulation/verdict"], 1e6 * insulation))
        if f"cables/feed/{name}/matched" in rows:
            excess = delay[name] - delay[_shortest(ran)]
            calls.append(called(rows[f"cables/feed/{name}/matched"], excess))
    return calls


def _shortest(ran: Ran) -> str:
    rows = {name: ran.requests[f"cables/feed/{name}/matched"] for name in CABLES}
    return min(CABLES, key=lambda name: abs(rows[name]["value"]) + rows[name]["u"])


def _delay_deg(cable: Cable) -> float:
    return 360.0 * cable.length_m / cable.wavelength_m(FREQUENCY_HZ)


@pytest.mark.study
@pytest.mark.timeout(600)
def test_100_sets_are_matched_and_judged_as_they_are() -> None:
    calls = [call for rng in each(100, seed=53) for call in cable_calls(rng)]
    print("\n" + table("cable set, 100 seeded sets (invented), guarded acceptance", calls))
    check_calls(calls)


@pytest.mark.parametrize("number", range(5))
def test_a_sample_of_sets_is_matched(number: int) -> None:
    check_calls(cable_calls(each(5, seed=9)[number]))
