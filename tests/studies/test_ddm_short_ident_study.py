"""What does a bit of ident do to DDM? Seeded records with 0 to 100 ms of it, switched at once.

It is on for so long at the start, at the end or somewhere within a record of `random_truth`, or off
for so long at an end. The bound is that of the record without ident. A bit that is too short to be
found as a tone is left out with the few milliseconds around it.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Floats, Truth, fisher_ddm_u, random_truth, record

ON_MS = (0.0, 0.5, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 60.0, 100.0)
EACH = 160


def gate(truth: Truth, on_ms: float, rng: np.random.Generator) -> Floats:
    """Return 1 where the ident is on."""
    count = round(on_ms * 1e-3 * truth.rate_hz)
    where = rng.integers(4)
    first = (0, truth.samples - count, rng.integers(truth.samples - count), 0)[where]
    on = np.zeros(truth.samples)
    on[first : first + count] = 1.0
    return 1.0 - on if where == 3 else on


@pytest.mark.study
@pytest.mark.timeout(600)
def test_a_bit_of_ident() -> None:
    rng = np.random.default_rng(2029)
    rows = [
        f"\n{'on, ms':>8}{'bias/u':>10}{'sd/u':>8}{'worst/u':>10}{'k=2, %':>9}{'u/CRB':>8}"
        f"{'greatest':>10}"
    ]
    everything: list[Floats] = []
    for on_ms in ON_MS:
        in_u, ratio = np.empty(EACH), np.empty(EACH)
        for k in range(EACH):
            truth = replace(random_truth(rng), ident=0.0, hum=0.0)
            depth, frequency_hz = rng.uniform(0.04, 0.12), 1020.0 + rng.uniform(-45.0, 45.0)
            tone = np.sin(2.0 * np.pi * frequency_hz * truth.t + rng.uniform(0.0, 6.28))
            v = record(truth, rng) + truth.c0 * depth * gate(truth, on_ms, rng) * tone
            ddm = analyze_samples(v, truth.rate_hz).ddm
            in_u[k], ratio[k] = (ddm.value - truth.ddm) / ddm.u, ddm.u / fisher_ddm_u(truth)
        everything.append(in_u)
        rows.append(
            f"{on_ms:>8g}{in_u.mean():>10.2f}{in_u.std():>8.2f}{np.abs(in_u).max():>10.1f}"
            f"{100.0 * np.mean(np.abs(in_u) < 2.0):>9.1f}{np.median(ratio):>8.2f}"
            f"{ratio.max():>10.2f}"
        )
        assert abs(in_u.mean()) < 0.3
        assert in_u.std() < 1.25
        assert np.median(ratio) < 1.05
    sys.stdout.write("\n".join([*rows, ""]))
    whole = np.concatenate(everything)
    assert abs(whole.mean()) < 0.1
    assert np.abs(whole).max() < 5.0
    assert 0.93 <= np.mean(np.abs(whole) < 2.0) <= 0.97
