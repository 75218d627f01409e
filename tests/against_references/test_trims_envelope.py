"""Phasing against a demodulated waveform: envelope of CSB plus SBO, tones by projection."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest

from procedures.trims.cable import CablePath, plan_cuts
from procedures.trims.phase import FeedPath, Tone, phase_from_readings

CARRIER_HZ = 109.35e6
T_S = np.arange(9600) / 9600 / 30  # one common period of 90 and 150 Hz


def envelope_ddm(sbo: complex, csb: complex) -> float:
    """Return m150 - m90 of |CSB (1 + m tones) + SBO tones|, nothing linearised."""
    tone_90, tone_150 = np.sin(2 * np.pi * 90 * T_S), np.sin(2 * np.pi * 150 * T_S)
    envelope = np.abs(csb * (1 + 0.2 * (tone_90 + tone_150)) + sbo * (tone_150 - tone_90))
    mean = envelope.mean()
    return float(2 * np.mean(envelope * (tone_150 - tone_90)) / mean)


def delay(length_m: float, factor: float) -> complex:
    return cmath.exp(-2j * math.pi * CARRIER_HZ * length_m / (factor * 299_792_458.0))


@pytest.mark.parametrize("line_in", ["sbo", "csb"])
@pytest.mark.parametrize("tone", [90, 150])
@pytest.mark.parametrize("phase_deg", range(-170, 181, 50))
def test_one_cut_and_the_fine_control_bring_any_phase_to_a_null(
    line_in: FeedPath, tone: Tone, phase_deg: float
) -> None:
    """Read, plan, cut, turn the fine control: the width channel nulls with the line in.

    The waveform is demodulated; the first estimate may be off by the second-order terms of the
    envelope (below 1 degree at 0.155 DDM), so the null is within 0.155 sin(1 deg) = 0.0027.
    """
    factor, spare_sbo_m, spare_csb_m = 0.82, 3.0, 3.0
    sign = 1 if tone == 150 else -1
    sbo0 = sign * 0.0775 * cmath.exp(1j * math.radians(phase_deg)) / delay(spare_sbo_m, factor)
    csb0 = 1.0 / delay(spare_csb_m, factor)
    quarter = 10 ** (-0.35 / 20) * cmath.exp(-1j * math.pi / 2)

    def read(cut_sbo_m: float, cut_csb_m: float, fine_deg: float, *, line: bool) -> float:
        sbo = sbo0 * delay(spare_sbo_m - cut_sbo_m, factor) * cmath.exp(1j * math.radians(fine_deg))
        csb = csb0 * delay(spare_csb_m - cut_csb_m, factor)
        if line and line_in == "sbo":
            sbo *= quarter
        elif line:
            csb *= quarter
        return envelope_ddm(sbo, csb)

    phase = phase_from_readings(
        read(0, 0, 0, line=False),
        read(0, 0, 0, line=True),
        wanted_tone=tone,
        line_in=line_in,
        line_loss_db=0.35,
    )
    assert abs(math.remainder(phase.phase_deg - phase_deg, 360)) < 1.0
    assert phase.reversed is (abs(phase_deg) > 90)
    path = CablePath(factor, 2.5)
    cut = plan_cuts(
        phase,
        frequency_hz=CARRIER_HZ,
        sbo=path,
        csb=path,
        allowance_m=0.02,
        fine_range_deg=40.0,
    )[0]
    cuts = (cut.length_m, 0.0) if cut.path == "sbo" else (0.0, cut.length_m)
    assert abs(read(*cuts, cut.fine_control_deg, line=True)) < 0.0027
    assert read(*cuts, cut.fine_control_deg, line=False) * sign == pytest.approx(0.155, abs=0.001)


def test_five_degrees_read_0_0134_in_quadrature() -> None:
    """Exact envelope at S/C = 0.0775 and 5 degrees: 0.01338 DDM (derived numerically)."""
    sbo = 0.0775 * cmath.exp(1j * math.radians(5.0))
    assert envelope_ddm(sbo * -1j, 1.0) == pytest.approx(0.01338, abs=1e-5)
