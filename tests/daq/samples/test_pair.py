"""Two channels: I and Q, or two detectors that must not be mixed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from daq.errors import SamplesError
from daq.samples.analyze import analyze_file
from daq.samples.files import open_samples
from daq.samples.pair import Channels
from daq.samples.stream import ddm_series

RATE_HZ = 8000


def detector(ddm: float, *, dc: float = 0.5) -> np.ndarray:
    """By the definition: depth of 150 Hz less depth of 90 Hz, together 40 per cent."""
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    tones = (0.2 - ddm / 2) * np.sin(2 * np.pi * 90 * t)
    tones += (0.2 + ddm / 2) * np.sin(2 * np.pi * 150 * t)
    noise = 1e-4 * np.random.default_rng(8).standard_normal(len(t))
    return np.asarray(dc * (1 + tones) + noise)


def wav(folder: Path, *channels: np.ndarray) -> Path:
    path = folder / "two.wav"
    wavfile.write(path, RATE_HZ, np.column_stack(channels).astype(np.float32))
    return path


def baseband(ddm: float, offset_hz: float) -> tuple[np.ndarray, np.ndarray]:
    v = detector(ddm)
    z = v * np.exp(2j * np.pi * (offset_hz * np.arange(len(v)) / RATE_HZ + 0.1))
    return z.real, z.imag


def test_two_detectors_are_refused_until_it_is_said_which(tmp_path: Path) -> None:
    """As I and Q they would give a DDM that neither has."""
    path = wav(tmp_path, detector(0.04), detector(0.20))
    with pytest.raises(SamplesError, match="look like two detectors") as caught:
        analyze_file(path)
    assert "--channel 1 or 2" in caught.value.hint
    assert "--iq" in caught.value.hint
    meant: tuple[tuple[Channels, float], ...] = (("1", 0.04), ("2", 0.20))
    for channels, ddm in meant:
        assert analyze_file(path, channels=channels).ddm.value == pytest.approx(ddm, abs=1e-4)
        rows = list(ddm_series(path, channels=channels))
        assert [row.ddm for row in rows] == pytest.approx([ddm] * 2, abs=1e-4)
    assert 0.05 < analyze_file(path, channels="iq").ddm.value < 0.19


def test_unequal_levels_are_two_detectors_too(tmp_path: Path) -> None:
    with pytest.raises(SamplesError, match="look like two detectors"):
        open_samples(wav(tmp_path, detector(0.04, dc=0.5), detector(0.2, dc=0.06)))


@pytest.mark.parametrize("offset_hz", [0.5, 700.0, -31.0])
def test_a_carrier_that_turns_is_i_and_q(offset_hz: float, tmp_path: Path) -> None:
    path = wav(tmp_path, *baseband(0.1, offset_hz))
    both: tuple[Channels, ...] = ("", "iq")
    for channels in both:
        assert analyze_file(path, channels=channels).ddm.value == pytest.approx(0.1, abs=2e-4)


def test_a_carrier_that_stands_still_is_taken_when_it_is_said_to_be_one(tmp_path: Path) -> None:
    path = wav(tmp_path, *baseband(0.1, 0.0))
    with pytest.raises(SamplesError, match="look like two detectors"):
        analyze_file(path)
    assert analyze_file(path, channels="iq").ddm.value == pytest.approx(0.1, abs=1e-4)


def test_columns_of_a_table_and_of_an_array_are_channels_too(tmp_path: Path) -> None:
    first, second = detector(0.04), detector(0.20)
    np.save(tmp_path / "a.npy", np.column_stack([first, second]))
    t = np.arange(len(first)) / RATE_HZ
    np.savetxt(tmp_path / "a.csv", np.column_stack([t, first, second]), fmt="%.7f", delimiter=",")
    for name, rate_hz in (("a.npy", float(RATE_HZ)), ("a.csv", None)):
        with pytest.raises(SamplesError, match="look like two detectors"):
            open_samples(tmp_path / name, rate_hz=rate_hz)
        found = analyze_file(tmp_path / name, rate_hz=rate_hz, channels="2")
        assert found.ddm.value == pytest.approx(0.20, abs=1e-4)


def test_what_is_asked_for_has_to_be_there(tmp_path: Path) -> None:
    wavfile.write(tmp_path / "one.wav", RATE_HZ, detector(0.1).astype(np.float32))
    np.save(tmp_path / "z.npy", detector(0.1) * np.exp(1j))
    with pytest.raises(SamplesError, match="no two channels"):
        open_samples(tmp_path / "one.wav", channels="1")
    with pytest.raises(SamplesError, match="no two channels"):
        open_samples(tmp_path / "z.npy", rate_hz=float(RATE_HZ), channels="2")
    with pytest.raises(SamplesError, match="has one channel"):
        open_samples(tmp_path / "one.wav", channels="iq")
    assert open_samples(tmp_path / "z.npy", rate_hz=float(RATE_HZ)).rate_hz == RATE_HZ
