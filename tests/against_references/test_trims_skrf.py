"""Cable phase and swept cables against scikit-rf's transmission lines."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import skrf
from typer.testing import CliRunner

from procedures.commands.trims import trim_app
from procedures.trims.cable import FarEnd, phase_for_length_deg
from procedures.trims.sweep import measure_sweep, read_sweep

CARRIER_HZ = 109.35e6
FACTOR = 0.82


def medium(factor: float = FACTOR, *, z0: float = 50.0, loss_db_per_m: float = 0.06) -> Any:
    """Return a dispersion-free line whose loss grows with the square root of frequency."""
    frequency = skrf.Frequency(90, 130, 401, unit="MHz")
    alpha = loss_db_per_m / 8.685889638 * np.sqrt(frequency.f / CARRIER_HZ)
    beta = 2 * np.pi * frequency.f / (factor * 299_792_458.0)
    return skrf.media.DefinedGammaZ0(frequency, z0_port=50.0, z0=z0, gamma=alpha + 1j * beta)


@pytest.mark.parametrize("length_m", [0.01, 0.9703, 2.5, 40.0])
def test_cable_phase_agrees(length_m: float) -> None:
    line = medium().line(length_m, "m")
    at = int(np.argmin(np.abs(line.f - CARRIER_HZ)))
    turn = np.exp(-1j * np.radians(phase_for_length_deg(length_m, float(line.f[at]), FACTOR)))
    assert np.angle(line.s[at, 1, 0] / turn) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("length_m", [1.7, 12.345, 60.0])
@pytest.mark.parametrize("kind", ["open", "short", "through"])
def test_a_swept_cable_is_measured(tmp_path: Path, kind: str, length_m: float) -> None:
    """Electrical length, loss and velocity factor of a matched line, from the file on disk."""
    line = medium().line(length_m, "m")
    ends = {"open": medium().open(), "short": medium().short()}
    network = line if kind == "through" else line ** ends[kind]
    network.write_touchstone("cable", dir=str(tmp_path))
    far_end: FarEnd = "short" if kind == "short" else "open"
    sweep = read_sweep(tmp_path / f"cable.s{network.nports}p", far_end=far_end)
    found = measure_sweep(sweep, CARRIER_HZ, physical_m=length_m)
    expected_deg = 360.0 * CARRIER_HZ * length_m / (FACTOR * 299_792_458.0)
    assert found.delay_deg == pytest.approx(expected_deg, abs=0.01)
    assert found.velocity_factor == pytest.approx(FACTOR, rel=1e-4)
    assert found.loss_db == pytest.approx(0.06 * length_m, rel=1e-3)
    assert found.ripple_db < 0.01


@pytest.mark.parametrize("kind", ["open", "through"])
def test_noise_and_mismatch_stay_within_the_stated_uncertainty(tmp_path: Path, kind: str) -> None:
    """A 47 ohm cable of 25 m in a 50 ohm system, with noise at -50 dB: within k = 2."""
    rng = np.random.default_rng(21)
    line = medium(z0=47.0).line(25.0, "m")
    network = line if kind == "through" else line ** medium().open()
    noise = rng.normal(0, 0.002, (2, *network.s.shape))
    network.s = network.s + noise[0] + 1j * noise[1]
    network.write_touchstone("cable", dir=str(tmp_path))
    found = measure_sweep(read_sweep(tmp_path / f"cable.s{network.nports}p"), CARRIER_HZ)
    expected_deg = 360.0 * CARRIER_HZ * 25.0 / (FACTOR * 299_792_458.0)
    assert found.delay_u_deg < 5.0
    assert abs(found.delay_deg - expected_deg) < 2.0 * found.delay_u_deg


def test_a_set_is_matched_from_files_and_the_cuts_make_them_equal(tmp_path: Path) -> None:
    """Cut by the list, swept again: all within 0.05 degrees; the bad cable is flagged."""
    lengths = [20.113, 20.0, 20.041, 20.2]
    files = []
    for number, length_m in enumerate(lengths):
        cable = medium(loss_db_per_m=0.10 if number == 3 else 0.06).line(length_m, "m")
        (cable ** medium().open()).write_touchstone(f"cable{number}", dir=str(tmp_path))
        files.append(str(tmp_path / f"cable{number}.s1p"))
    result = CliRunner().invoke(
        trim_app,
        ["match", *files, "--frequency", "109.35 MHz", "--velocity-factor", "0.82", "--json"],
    )
    assert result.exit_code == 0, result.output
    cables = json.loads(result.stdout)["cables"]
    left = [length_m - cable["cut_m"] for length_m, cable in zip(lengths, cables, strict=True)]
    phases = [phase_for_length_deg(length_m, CARRIER_HZ, FACTOR) for length_m in left]
    assert max(phases) - min(phases) < 0.05
    assert [bool(cable["damaged"]) for cable in cables] == [False, False, False, True]
    assert all(cable["excess_u_deg"] > 0 for cable in cables if cable["excess_deg"] > 0)
