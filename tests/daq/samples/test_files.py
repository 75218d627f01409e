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


@pytest.mark.parametrize("kind", ["i2", "u2", "i8", "f2", ">f4", "c8"])
def test_numbers_of_any_kind(tmp_path: Path, kind: str) -> None:
    v = clean(Truth(rate_hz=8_000.0, m150=0.25)) * 2000.0
    np.save(tmp_path / "a.npy", v.astype(kind))
    a = analyze_file(tmp_path / "a.npy", rate_hz=8_000.0)
    assert a.ddm.value == pytest.approx(0.05, abs=1e-4)


def test_q_for_i_turns_the_carrier_offset_over_and_nothing_else(tmp_path: Path) -> None:
    t = Truth(rate_hz=8_000.0, m150=0.25).t
    z = clean(Truth(rate_hz=8_000.0, m150=0.25)) * np.exp(2j * np.pi * 70.0 * t)
    for name, some in (("a.npy", z), ("b.npy", z.imag + 1j * z.real)):
        np.save(tmp_path / name, some)
    right, swapped = (analyze_file(tmp_path / name, rate_hz=8_000.0) for name in ("a.npy", "b.npy"))
    assert right.carrier_offset_hz is not None
    assert swapped.carrier_offset_hz is not None
    assert swapped.carrier_offset_hz.value == pytest.approx(-right.carrier_offset_hz.value)
    assert swapped.ddm.value == pytest.approx(right.ddm.value, abs=1e-9)


def test_time_and_volts_are_not_taken_for_i_and_q(tmp_path: Path) -> None:
    truth = Truth(rate_hz=8_000.0)
    np.save(tmp_path / "a.npy", np.column_stack([truth.t, clean(truth)]))
    with pytest.raises(SamplesError, match="first column rises evenly, so it is a time axis"):
        open_samples(tmp_path / "a.npy", rate_hz=8_000.0)


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


@pytest.mark.parametrize(
    "head",
    [
        "{'descr': '<f8', 'fortran_order': False, 'shape': (4,",
        f"{{'descr': '<f8', 'fortran_order': False, 'shape': ({10**30},), }}",
        "{'descr': '<f8', 'fortran_order': False, 'shape': (True,), }",
        "{'descr': '<f8', 'fortran_order': False, 'shape': True, }",
        "{'descr': [], 'fortran_order': False, 'shape': (4,), }",
        "{'descr': '<f8', 'fortran_order': False, 'shape': (-4,), }",
    ],
)
def test_an_array_with_a_damaged_head(tmp_path: Path, head: str) -> None:
    text = head.encode("ascii") + b"\n"
    whole = b"\x93NUMPY\x01\x00" + len(text).to_bytes(2, "little") + text + bytes(32)
    (tmp_path / "a.npy").write_bytes(whole)
    with pytest.raises(SamplesError):
        open_samples(tmp_path / "a.npy", rate_hz=8_000.0)


def test_an_array_file_that_is_none_and_one_with_pickled_objects(tmp_path: Path) -> None:
    (tmp_path / "a.npy").write_bytes(b"not an array")
    np.save(tmp_path / "b.npy", np.array([{}], dtype=object), allow_pickle=True)
    np.savez(tmp_path / "c.npz", v=np.ones(9))
    (tmp_path / "c.npz").rename(tmp_path / "c.npy")
    np.save(tmp_path / "d.npy", np.ones(900))
    (tmp_path / "d.npy").write_bytes((tmp_path / "d.npy").read_bytes()[:-99])
    for name in ("a.npy", "b.npy", "c.npy", "d.npy"):
        with pytest.raises(SamplesError, match="is no NumPy array of numbers") as caught:
            open_samples(tmp_path / name, rate_hz=8_000.0)
        said = str(caught.value)
        assert ("objects of a program" in said) == (name == "b.npy")
        for word in ("mmap", "memory", "magic", "dtype", "pickle"):
            assert word not in said


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
