"""Is a tone that is not there beside hum refused, and no good record?

Absent: 1,500 records of 0.1 to 0.5 s without 90 Hz, 150 Hz or both, with lines at once, twice and
three times 50 or 60 Hz mains. Good: 2,000 records, half of them that short.

The third harmonic of 50 Hz is 150 Hz. Without the tone it is read as one, and said to be doubtful;
beside the tone and closer than the inverse of the duration it beats with it, which no record that
short can show. Both are counted apart.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.analyze import analyze_samples
from tests.daq.samples.synthetic import Truth, random_truth, record

ABSENT = ("90 Hz", "150 Hz", "both")
OUTCOMES = ("read right", "refused", "wrong, said so", "wrong, not said")


def without(absent: str, rng: np.random.Generator) -> tuple[Truth, bool]:
    """Return a short record without a tone, and whether it has a line at 150 Hz beside tones."""
    mains_hz = rng.choice([50.0, 60.0]) + rng.uniform(-0.1, 0.1)
    level = float(np.power(10.0, rng.uniform(-3.3, -1.3)))
    orders = [k for k in (1, 2, 3) if rng.random() < (0.6 if k < 3 else 0.2)]
    truth = replace(
        random_truth(rng),
        duration_s=rng.uniform(0.1, 0.5),
        ident=0.0,
        hum=0.0,
        extra=tuple(
            (level * rng.uniform(0.2, 1.0), k * mains_hz, rng.uniform(0.0, 6.28)) for k in orders
        ),
    )
    if absent != "150 Hz":
        truth = replace(truth, m90=0.0)
    if absent != "90 Hz":
        truth = replace(truth, m150=0.0)
    return truth, 3 in orders and mains_hz < 55.0


def outcome(truth: Truth, rng: np.random.Generator) -> str:
    try:
        analysis = analyze_samples(record(truth, rng), truth.rate_hz)
    except SamplesError:
        return "refused"
    error = abs(analysis.ddm.value - truth.ddm)
    if error < 5.0 * analysis.ddm.u or error < 2e-4:
        return "read right"
    words = ("off", "stand out", "third harmonic")
    said = any(word in warning for warning in analysis.warnings for word in words)
    return "wrong, said so" if said else "wrong, not said"


@pytest.mark.study
@pytest.mark.timeout(600)
def test_absent_tones() -> None:
    rng = np.random.default_rng(2030)
    counts: dict[tuple[str, bool], Counter[str]] = {}
    for number in range(1500):
        absent = ABSENT[number % 3]
        truth, at_150 = without(absent, rng)
        counts.setdefault((absent, at_150), Counter())[outcome(truth, rng)] += 1
    rows = [f"\n{'absent':<30}" + "".join(f"{name:>17}" for name in OUTCOMES)]
    for (absent, at_150), count in sorted(counts.items()):
        name = f"{absent}{', hum at 150 Hz' if at_150 else ''}"
        rows.append(f"{name:<30}" + "".join(f"{count[one]:>17}" for one in OUTCOMES))
    sys.stdout.write("\n".join([*rows, ""]))
    for absent in ABSENT:
        assert counts[absent, False]["wrong, not said"] == 0
        assert counts[absent, False]["wrong, said so"] <= 5
    assert counts["both", False]["refused"] == counts["both", False].total()


@pytest.mark.study
@pytest.mark.timeout(600)
def test_no_good_record_is_refused() -> None:
    rng = np.random.default_rng(2031)
    for number in range(2000):
        truth = random_truth(rng)
        if number % 2:
            hum = rng.uniform(0.0005, 0.05)
            truth = replace(truth, duration_s=rng.uniform(0.1, 0.5), hum=hum)
        if number % 8 == 1:
            truth = replace(truth, m90=rng.uniform(0.02, 0.3), m150=rng.uniform(0.02, 0.4))
        if number % 8 == 3:
            lines = ((rng.uniform(0.0, 0.02), 100.0, 1.0), (rng.uniform(0.0, 0.01), 150.0, 2.0))
            truth = replace(truth, f_hum=50.0, extra=lines)
        analyze_samples(record(truth, rng), truth.rate_hz)
