from pathlib import Path

import numpy as np
import pytest

from daq.errors import SamplesError
from daq.samples.analyze import analyze_file
from daq.samples.files import open_samples
from tests.daq.samples.synthetic import Truth, clean, record

TRUTH = Truth(duration_s=0.5, m150=0.22)


def test_an_array_with_its_rate(tmp_path: Path) -> None:
    path = tmp_path / "a.npy"
    np.save(path, record(TRUTH, np.random.default_rng(1)).astype(np.float32))
    a = analyze_file(path, rate_hz=48_000.0)
    assert a.ddm.value == pytest.approx(0.02, abs=4.0 * a.ddm.u)


@pytest.mark.parametrize("two_columns", [False, True])
def test_an_array_of_complex_baseband(tmp_path: Path, two_columns: bool) -> None:
    z = clean(TRUTH) * np.exp(2j * np.pi * 70.0 * TRUTH.t)
    path = tmp_path / "a.npy"
    np.save(path, np.column_stack([z.real, z.imag]) if two_columns else z)
    a = analyze_file(path, rate_hz=48_000.0)
    assert a.carrier_offset_hz is not None
    assert a.carrier_offset_hz.value == pytest.approx(70.0, abs=0.01)


def test_an_array_without_a_rate(tmp_path: Path) -> None:
    np.save(tmp_path / "a.npy", np.ones(9))
    with pytest.raises(SamplesError, match="does not state its sample rate"):
        open_samples(tmp_path / "a.npy")


def test_a_rate_for_a_file_that_has_one(tmp_path: Path) -> None:
    (tmp_path / "a.wav").write_bytes(b"RIFF")
    with pytest.raises(SamplesError, match="states its own sample rate"):
        open_samples(tmp_path / "a.wav", rate_hz=8_000.0)


@pytest.mark.parametrize("shape", [(3, 3), (4,), (2, 2, 2)])
def test_arrays_of_another_shape_or_kind(tmp_path: Path, shape: tuple[int, ...]) -> None:
    np.save(tmp_path / "a.npy", np.full(shape, "x") if len(shape) == 1 else np.ones(shape))
    with pytest.raises(SamplesError, match="of shape"):
        open_samples(tmp_path / "a.npy", rate_hz=8_000.0)


def test_an_array_file_that_is_none_and_one_with_pickled_objects(tmp_path: Path) -> None:
    (tmp_path / "a.npy").write_bytes(b"not an array")
    np.save(tmp_path / "b.npy", np.array([{}], dtype=object), allow_pickle=True)
    for name in ("a.npy", "b.npy"):
        with pytest.raises(SamplesError, match="not a NumPy array"):
            open_samples(tmp_path / name, rate_hz=8_000.0)


def test_missing_empty_unknown(tmp_path: Path) -> None:
    with pytest.raises(SamplesError, match="cannot be read: No such file"):
        open_samples(tmp_path / "no.wav")
    (tmp_path / "a.wav").touch()
    with pytest.raises(SamplesError, match="is empty"):
        open_samples(tmp_path / "a.wav")
    (tmp_path / "a.mp3").write_bytes(b"xx")
    with pytest.raises(SamplesError, match=r"of no known kind \(\.mp3\)"):
        open_samples(tmp_path / "a.mp3")
    with pytest.raises(SamplesError, match=r"of no known kind|cannot be read"):
        open_samples(tmp_path)
