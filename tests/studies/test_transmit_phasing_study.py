"""Seeded transmitters phased out in the field, and judged on what phase is left.

Three kinds of plant. Of those that are phased as they should be, from anywhere on the circle,
nearly all end in phase: they prove that it converges and that the uncertainty covers, and have
nothing to reject. Of those whose station file asks too little of the null, the run ends with what
it found: two thirds are truly out, and have to be called so. Of those that have too little cable
most cannot be phased at all, and must not end with a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from tests.support.ground import Called, Ran, called, check_calls, each, ground, table, tally

STRICT = {'accepted_phase = "8 deg"': 'accepted_phase = "5 deg"'}
"""What a null cannot see is the line's own angle, 2 degrees at k=1: some plants are truly out."""

COARSE = {
    **STRICT,
    'null = 0.001\nfine_control = "course SBO phase"': (
        'null = 0.15\nfine_control = "course SBO phase"'
    ),
    'null = 0.002\nfine_control = "clearance SBO phase"': (
        'null = 0.15\nfine_control = "clearance SBO phase"'
    ),
}
"""A null that any quadrature reading of these plants holds: nothing is turned and nothing cut."""

SHORT = {**STRICT, 'spare = "1.30 m"': 'spare = "0.40 m"'}
"""Cable for some 60 degrees of phase in each path."""

CARRIERS = ("course", "clearance")


def phased(
    rng: np.random.Generator, within_deg: float, changes: Mapping[str, str]
) -> tuple[Ran, Mapping[str, float]]:
    """Phase course and clearance of one plant; how it ended, and the plant's own phases."""
    plant = {
        "seed": int(rng.integers(1, 2**31)),
        "transmit_phase_error_deg": float(rng.uniform(-within_deg, within_deg)),
        "clearance_phase_error_deg": float(rng.uniform(-within_deg, within_deg)),
        "line_angle_error_deg": float(2.0 * rng.standard_normal()),
        "line_loss_error_db": float(0.1 * rng.standard_normal()),
        "tx1": {"course": {"sbo_level_db": float(rng.uniform(-3.0, 2.0))}},
    }
    with ground(plant, changes) as on:
        on.err(rng)
        ran = on.run("transmit-phasing")
        truth = on.plant.truth()
    assert truth.lines_in == []
    return ran, truth.transmit_phase_deg


def calls_of(ran: Ran, truth: Mapping[str, float]) -> list[Called]:
    """The verdicts of a run on each carrier, with the truth."""
    rows = ran.judged()
    keys = {name: f"phasing/{name}/phase left" for name in CARRIERS}
    return [called(rows[key], truth[name]) for name, key in keys.items() if key in rows]


def phasing_calls(rng: np.random.Generator) -> list[Called]:
    """From anywhere on the circle."""
    ran, truth = phased(rng, 180.0, STRICT)
    assert ran.end.result == "finished", ran.end
    return calls_of(ran, truth)


def coarse_calls(rng: np.random.Generator) -> list[Called]:
    """From near enough that the coarse null holds at once."""
    ran, truth = phased(rng, 16.0, COARSE)
    assert ran.end.result == "finished", ran.end
    return calls_of(ran, truth)


def check_rejection(calls: list[Called], *, least: int) -> None:
    """What is rejected is out, what is far out is rejected, and enough of it was drawn."""
    check_calls(calls)
    rejected = [call for call in calls if call.verdict == "out of tolerance"]
    assert len(rejected) >= least
    assert tally(calls).true_out > len(calls) / 3
    # Beyond the limit by five standard uncertainties nothing is left open.
    clear = [call for call in calls if abs(call.truth) > 5.0 + 5.0 * call.u]
    assert {call.verdict for call in clear} <= {"out of tolerance"}


@pytest.mark.study
@pytest.mark.timeout(600)
def test_100_transmitters_are_phased_and_judged_as_they_are() -> None:
    calls = [call for rng in each(100, seed=52) for call in phasing_calls(rng)]
    print("\n" + table("transmit phasing, 100 seeded plants (invented), guarded", calls))
    check_calls(calls)


@pytest.mark.study
@pytest.mark.timeout(600)
def test_100_transmitters_that_are_left_out_of_phase_are_rejected() -> None:
    calls = [call for rng in each(100, seed=53) for call in coarse_calls(rng)]
    out = sum(call.verdict == "out of tolerance" for call in calls)
    title = f"transmit phasing, 100 seeded plants with a coarse null (invented): {out} rejected"
    print("\n" + table(title, calls))
    check_rejection(calls, least=30)


@pytest.mark.study
@pytest.mark.timeout(600)
def test_of_100_transmitters_short_of_cable_none_is_passed_out_of_phase() -> None:
    runs = [phased(rng, 180.0, SHORT) for rng in each(100, seed=54)]
    calls = [call for ran, truth in runs for call in calls_of(ran, truth)]
    refused = [(ran, truth) for ran, truth in runs if ran.end.result == "refused"]
    title = f"transmit phasing, 100 seeded plants short of cable (invented): {len(refused)} refused"
    print("\n" + table(title, calls))
    check_calls(calls)
    assert len(refused) > 20
    for ran, truth in refused:
        assert "spare cable" in ran.end.message
        # Somewhere it was truly out, and that carrier has no verdict.
        judged = {name for name in CARRIERS if f"phasing/{name}/phase left" in ran.judged()}
        assert any(abs(truth[name]) > 5.0 for name in CARRIERS if name not in judged)


@pytest.mark.parametrize("number", range(4))
def test_a_sample_of_transmitters_is_phased(number: int) -> None:
    check_calls(phasing_calls(each(5, seed=8)[number]))


def test_a_sample_left_out_of_phase_is_rejected() -> None:
    check_rejection([call for rng in each(6, seed=9) for call in coarse_calls(rng)], least=2)
