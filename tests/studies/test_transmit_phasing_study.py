"""100 seeded transmitters are phased out in the field, from anywhere on the circle."""

from __future__ import annotations

import numpy as np
import pytest

from tests.support.ground import Called, called, check_calls, each, ground, table

STRICT = {'accepted_phase = "8 deg"': 'accepted_phase = "5 deg"'}
"""What a null cannot see is the line's own angle, 2 degrees at k=1: some plants are truly out."""


def phasing_calls(rng: np.random.Generator) -> list[Called]:
    """Phase course and clearance of one plant; the verdict on each with the plant's own phase."""
    plant = {
        "seed": int(rng.integers(1, 2**31)),
        "transmit_phase_error_deg": float(rng.uniform(-180.0, 180.0)),
        "clearance_phase_error_deg": float(rng.uniform(-180.0, 180.0)),
        "line_angle_error_deg": float(2.0 * rng.standard_normal()),
        "line_loss_error_db": float(0.1 * rng.standard_normal()),
        "tx1": {"course": {"sbo_level_db": float(rng.uniform(-3.0, 2.0))}},
    }
    with ground(plant, STRICT) as on:
        on.err(rng)
        ran = on.run("transmit-phasing")
        truth = on.plant.truth()
    assert ran.end.result == "finished", ran.end
    assert truth.lines_in == []
    rows = ran.judged()
    return [
        called(rows[f"phasing/{name}/phase left"], truth.transmit_phase_deg[name])
        for name in ("course", "clearance")
    ]


@pytest.mark.study
@pytest.mark.timeout(600)
def test_100_transmitters_are_phased_and_judged_as_they_are() -> None:
    calls = [call for rng in each(100, seed=52) for call in phasing_calls(rng)]
    print("\n" + table("transmit phasing, 100 seeded plants (invented), guarded", calls))
    check_calls(calls)


@pytest.mark.parametrize("number", range(5))
def test_a_sample_of_transmitters_is_phased(number: int) -> None:
    check_calls(phasing_calls(each(5, seed=8)[number]))
