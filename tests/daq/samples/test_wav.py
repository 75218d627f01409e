import struct
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from daq.errors import SamplesError
from daq.samples.analyze import analyze_file
from daq.samples.source import Samples
from daq.samples.wav import open_wav
from tests.daq.samples.synthetic import Truth, record

TRUTH = Truth(c0=0.5, m150=0.24, duration_s=0.6)


def read(path: Path, size: int = 1000) -> Samples:
    return np.concatenate(list(open_wav(path).chunks(size)))


def riff(*chunks: tuple[bytes, bytes]) -> bytes:
    body = b"".join(
        name + struct.pack("<I", len(data)) + data + b"\0" * (len(data) % 2)
        for name, data in chunks
    )
    return b"RIFF" + struct.pack("<I", 4 + len(body)) + b"WAVE" + body


def form(kind: int, channels: int, rate: int, bits: int) -> bytes:
    frame = channels * bits // 8
    return struct.pack("<HHIIHH", kind, channels, rate, rate * frame, frame, bits)


@pytest.mark.parametrize("dtype", [np.int16, np.int32, np.uint8, np.float32, np.float64])
def test_what_scipy_writes_is_read_back(tmp_path: Path, dtype: type) -> None:
    """scipy.io.wavfile is the independent writer."""
    x = np.random.default_rng(1).uniform(-0.9, 0.9, 2500)
    stored: np.ndarray
    if np.issubdtype(dtype, np.floating):
        stored = x.astype(dtype)
        expected = stored.astype(np.float64)
    elif dtype is np.uint8:
        stored = np.round(x * 127 + 128).astype(np.uint8)
        expected = (stored.astype(np.float64) - 128.0) / 128.0
    else:
        full = -float(np.iinfo(dtype).min)
        stored = np.round(x * (full - 1)).astype(dtype)
        expected = stored / full
    wavfile.write(tmp_path / "a.wav", 48_000, stored)
    np.testing.assert_array_equal(read(tmp_path / "a.wav"), expected)


def test_24_bits_agree_with_scipy_reading_the_same_file(tmp_path: Path) -> None:
    codes = np.random.default_rng(2).integers(-(2**23), 2**23, 2001)
    data = b"".join(int(c).to_bytes(3, "little", signed=True) for c in codes)
    path = tmp_path / "a.wav"
    path.write_bytes(riff((b"fmt ", form(1, 1, 48_000, 24)), (b"LIST", b"odd"), (b"data", data)))
    np.testing.assert_allclose(read(path), codes / 2.0**23, atol=0.0)
    rate_hz, theirs = wavfile.read(path)
    np.testing.assert_array_equal(read(path), theirs / 2.0**31)
    assert open_wav(path).rate_hz == rate_hz


def test_the_extensible_format_is_understood(tmp_path: Path) -> None:
    guid = struct.pack("<H", 3) + bytes.fromhex("000000001000800000aa00389b71")
    head = form(0xFFFE, 1, 48_000, 32) + struct.pack("<HHI", 22, 32, 4) + guid
    x = np.linspace(-1, 1, 100, dtype=np.float32)
    path = tmp_path / "a.wav"
    path.write_bytes(riff((b"fmt ", head), (b"data", x.tobytes())))
    np.testing.assert_array_equal(read(path), x)


GOOD = (b"fmt ", form(1, 1, 48_000, 16))


def test_parts_of_odd_length_around_the_samples_are_passed_over(tmp_path: Path) -> None:
    """A part of odd length is followed by a byte that is not counted."""
    x = np.arange(-50, 51, dtype=np.int16)
    data = (b"data", x.tobytes())
    path = tmp_path / "a.wav"
    path.write_bytes(riff((b"LIST", b"INFOx"), GOOD, (b"note", b"abc"), data, (b"LIST", b"INFO")))
    np.testing.assert_array_equal(read(path), x / 2.0**15)


def test_two_channels_are_i_and_q(tmp_path: Path) -> None:
    pair = np.random.default_rng(3).uniform(-1, 1, (500, 2)).astype(np.float32)
    wavfile.write(tmp_path / "a.wav", 48_000, pair)
    np.testing.assert_array_equal(read(tmp_path / "a.wav", 77), pair[:, 0] + 1j * pair[:, 1])


@pytest.mark.parametrize("bits", [16, 24, 32])
def test_ddm_comes_out_of_pcm_of_any_width(tmp_path: Path, bits: int) -> None:
    v = record(TRUTH, np.random.default_rng(4))
    codes = np.round(v * (2 ** (bits - 1) - 1)).astype(np.int64)
    data = b"".join(int(c).to_bytes(bits // 8, "little", signed=True) for c in codes)
    path = tmp_path / "a.wav"
    path.write_bytes(riff((b"fmt ", form(1, 1, 48_000, bits)), (b"data", data)))
    ddm = analyze_file(path).ddm
    assert ddm.value == pytest.approx(TRUTH.ddm, abs=4.0 * ddm.u)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"ID3\x04 something else", "is not a sound file: it begins with b'ID3"),
        (b"RIFF", "is not a sound file"),
        (riff(GOOD), "holds no sample data: it is cut off"),
        (riff(GOOD)[:-20] + b"", "does not say|cut off"),
        (riff((b"data", b"\0" * 100)), "does not say how its samples are written"),
        (riff((b"fmt ", form(1, 3, 48_000, 16)), (b"data", b"\0" * 600)), "has 3 channels"),
        (riff((b"fmt ", form(85, 1, 48_000, 16)), (b"data", b"\0" * 60)), "format 85 with 16"),
        (riff((b"fmt ", form(1, 1, 48_000, 12)), (b"data", b"\0" * 60)), "with 12 bits"),
        (riff(GOOD, (b"data", b"\0" * 96_000))[:-48_000], r"promises 1 s .* 0\.5 s are there"),
        (riff(GOOD, (b"data", b"")), "empty"),
        (riff(GOOD, (b"data", b"")) + b"\0" * 960, "was not finished: .* 960 bytes follow"),
        (riff((b"fmt ", form(1, 1, 2_000, 16)), (b"data", b"\0" * 9000)), "rate too low"),
    ],
)
def test_what_cannot_be_read_is_refused_with_the_reason(
    tmp_path: Path, content: bytes, words: str
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(content)
    with pytest.raises(SamplesError, match=words):
        analyze_file(path)
