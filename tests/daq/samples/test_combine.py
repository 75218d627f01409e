import math
from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.block import Block, analyze_block
from daq.samples.combine import Combined
from daq.samples.model import Estimate
from tests.daq.samples.synthetic import Truth, fisher_ddm_u, record


def test_blocks_lose_nothing_against_the_bound_of_the_whole() -> None:
    truth = Truth(rate_hz=8_000.0, duration_s=20.0, m150=0.24)
    a = analyze_samples(record(truth, np.random.default_rng(1)), truth.rate_hz)
    bound = fisher_ddm_u(truth)
    assert a.ddm.u == pytest.approx(bound, rel=0.03)
    assert abs(a.ddm.value - truth.ddm) < 4.0 * bound
    assert a.duration_s == 20.0
    assert a.samples == 160_000
    assert a.warnings == ()


def test_a_ddm_that_moves_is_said_and_widens_the_uncertainty() -> None:
    rng = np.random.default_rng(2)
    combined = Combined()
    for step in range(8):
        truth = Truth(duration_s=0.5, m150=0.2 + 0.001 * step)
        combined.add(analyze_block(record(truth, rng), truth.rate_hz))
    a = combined.result()
    assert any("DDM moved" in warning for warning in a.warnings)
    assert a.ddm.u > 10.0 * fisher_ddm_u(Truth(duration_s=4.0))


def test_the_mean_phase_is_not_torn_at_the_wrap() -> None:
    rng = np.random.default_rng(3)
    combined = Combined()
    for phase_deg in (59.5, -59.5, 59.9, -59.9):
        truth = Truth(duration_s=0.5, p90=0.0, p150=math.radians(phase_deg))
        combined.add(analyze_block(record(truth, rng), truth.rate_hz))
    assert abs(abs(combined.result().tone_phase_deg.value) - 60.0) < 0.2


def test_what_is_common_to_all_blocks_is_not_averaged() -> None:
    """Ten of (0.3 own, 0.4 common): 0.3^2 / 10 + 0.4^2 (JCGM 100:2008, 5.2.2, correlated parts)."""
    block = analyze_block(record(Truth(), np.random.default_rng(5)), Truth().rate_hz)
    block = replace(block, analysis=replace(block.analysis, ddm=Estimate(0.01, 0.5, 0.4)))
    combined = Combined()
    for _ in range(10):
        combined.add(block)
    ddm = combined.result().ddm
    assert ddm.value == pytest.approx(0.01)
    assert ddm.u == pytest.approx(math.sqrt(0.3**2 / 10.0 + 0.4**2))
    assert ddm.common_u == pytest.approx(0.4)


def test_one_block_is_passed_on_as_it_is() -> None:
    truth = Truth()
    block = analyze_block(record(truth, np.random.default_rng(4)), truth.rate_hz)
    combined = Combined()
    combined.add(block)
    assert combined.result() == block.analysis


def test_no_block_no_answer() -> None:
    with pytest.raises(ValueError, match="no block"):
        Combined().result()


def with_ident(depth: Estimate, hz: Estimate) -> Block:
    block = analyze_block(record(Truth(duration_s=0.2), np.random.default_rng(6)), 48_000.0)
    return replace(block, analysis=replace(block.analysis, ident_depth=depth, ident_hz=hz))


def test_the_ident_is_that_of_the_blocks_in_which_it_is_on() -> None:
    """Inverse-variance weights by hand: (4 x 0.150 + 1 x 0.152) / 5, and 0.001 / sqrt(1.25)."""
    combined = Combined()
    combined.add(with_ident(Estimate(0.0008, 0.00005), Estimate(1017.7, 0.01)))
    combined.add(with_ident(Estimate(0.150, 0.001), Estimate(1020.0, 0.01)))
    combined.add(with_ident(Estimate(0.0003, 0.00005), Estimate(1016.1, 0.01)))
    combined.add(with_ident(Estimate(0.152, 0.002), Estimate(1020.0, 0.01)))
    a = combined.result()
    assert a.ident_depth is not None
    assert a.ident_depth.value == pytest.approx(0.1504)
    assert a.ident_depth.u == pytest.approx(0.001 / math.sqrt(1.25))
    assert a.ident_hz is not None
    assert a.ident_hz.value == pytest.approx(1020.0)


def test_one_doubtful_block_does_not_decide_where_the_ident_is_on() -> None:
    combined = Combined()
    combined.add(with_ident(Estimate(0.150, 0.001), Estimate(1020.0, 0.01)))
    combined.add(with_ident(Estimate(0.5, 0.2), Estimate(1020.0, 5.0)))
    depth = combined.result().ident_depth
    assert depth is not None
    assert depth.value == pytest.approx(0.150, abs=0.0001)


def test_the_depth_while_on_survives_the_pauses_between_transmissions() -> None:
    """Ident of 0.15 for two of ten seconds, a fiftieth of it past the key for the rest."""
    truth = Truth(rate_hz=8_000.0, duration_s=10.0, snr_db=45.0)
    on = (truth.t > 4.0) & (truth.t < 6.3) & (truth.t % 0.4 < 0.2)
    tone = truth.c0 * 0.15 * np.sin(2.0 * np.pi * 1020.0 * truth.t)
    v = record(truth, np.random.default_rng(7)) + np.where(on, 1.0, 0.02) * tone
    a = analyze_samples(v, truth.rate_hz)
    assert a.ident_depth is not None
    assert a.ident_depth.value == pytest.approx(0.15, rel=0.005)
    assert a.ident_hz is not None
    assert a.ident_hz.value == pytest.approx(1020.0, abs=0.01)


def test_no_ident_in_any_block_is_none_in_the_whole() -> None:
    truth = Truth(rate_hz=8_000.0, duration_s=5.0)
    assert analyze_samples(record(truth, np.random.default_rng(8)), 8_000.0).ident_depth is None
