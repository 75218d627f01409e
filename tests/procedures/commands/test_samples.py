"""`trimbench analyze` on files whose truth is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from tests.support.commands import CommandLine
from tests.support.plants import STATION

RATE_HZ = 8000


@pytest.fixture
def trimbench(capsys: pytest.CaptureFixture[str]) -> CommandLine:
    return CommandLine(capsys)


def detector(seconds: float, *, m90: float = 0.19, m150: float = 0.215) -> np.ndarray:
    """A detector's output by the definition of amplitude modulation, a little noise on it."""
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    clean = 0.5 * (1 + m90 * np.sin(2 * np.pi * 90 * t) + m150 * np.sin(2 * np.pi * 150 * t + 0.3))
    return clean + 1e-4 * np.random.default_rng(1).standard_normal(len(t))


@pytest.fixture
def wav(tmp_path: Path) -> Path:
    path = tmp_path / "approach.wav"
    wavfile.write(path, RATE_HZ, detector(2.5).astype(np.float32))
    return path


def test_a_sound_file_gives_what_was_put_in(wav: Path, trimbench: CommandLine) -> None:
    found = trimbench("analyze", wav, "--json").json
    assert found["ddm"] == pytest.approx(0.025, abs=5 * found["ddm_u"])
    assert found["sdm"] == pytest.approx(0.405, abs=1e-4)
    assert found["depth_90"] == pytest.approx(0.19, abs=1e-4)
    assert found["depth_150"] == pytest.approx(0.215, abs=1e-4)
    assert found["tone_90_hz"] == pytest.approx(90.0, abs=1e-3)
    assert found["tone_150_hz"] == pytest.approx(150.0, abs=1e-3)
    assert {"tone_phase_deg", "ddm_u", "warnings"} <= set(found)


def test_for_people_it_names_the_predominant_tone_and_the_current(
    wav: Path, trimbench: CommandLine
) -> None:
    said = trimbench("analyze", wav, "--explain")
    assert said.code == 0
    assert "0.0250, 150 Hz predominates" in said.out
    assert "; +24." in said.out
    assert "least squares" in said.out


def test_an_array_needs_its_rate(tmp_path: Path, trimbench: CommandLine) -> None:
    path = tmp_path / "record.npy"
    np.save(path, detector(0.5))
    without = trimbench("analyze", path)
    assert without.code == 2
    without.is_a_short_message()
    assert "rate" in without.err
    assert trimbench("analyze", path, "--rate", "8 kHz", "--json").json["ddm"] == pytest.approx(
        0.025, abs=1e-4
    )
    assert trimbench("analyze", path, "--rate", "8 kg").code == 2


def test_a_series_is_a_table_and_a_picture(wav: Path, trimbench: CommandLine) -> None:
    table, picture = wav.with_name("series.csv"), wav.with_name("series.svg")
    said = trimbench("analyze", wav, "--block", "0.5 s", "--series", table, "--plot", picture)
    assert said.code == 0
    rows = np.genfromtxt(table, delimiter=",", names=True)
    assert len(rows) == 5
    assert rows["ddm"] == pytest.approx(0.025, abs=2e-4)
    assert "<svg" in picture.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "code", "words"),
    [
        (("--series", "s.txt"), 2, "a series is written as .csv or .parquet"),
        (("--plot", "p.gif"), 2, "a picture is written as .svg, .png or .pdf"),
        (("--plot", "nowhere/p.svg"), 4, "there is no such folder"),
        (("--block", "1 ms", "--series", "s.csv"), 2, "too short"),
        (("--block", "1 m"), 2, "is a length; a time was expected"),
        (("--channel", "1", "--iq"), 2, "not both"),
        (("--channel", "1"), 2, "no two channels"),
        (("--rate", "0"), 2, "48 kHz, or 48000"),
    ],
)
def test_options_are_looked_at_before_the_work(
    options: tuple[str, ...],
    code: int,
    words: str,
    wav: Path,
    trimbench: CommandLine,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(wav.parent)
    said = trimbench("analyze", wav, *options)
    assert (said.code, said.out) == (code, "")
    assert words in said.err
    assert list(wav.parent.iterdir()) == [wav]


def test_a_rate_may_be_a_number_alone(tmp_path: Path, trimbench: CommandLine) -> None:
    np.save(tmp_path / "record.npy", detector(0.5))
    said = trimbench("analyze", tmp_path / "record.npy", "--rate", RATE_HZ, "--json")
    assert said.json["rate_hz"] == RATE_HZ


def test_of_two_detectors_one_is_named(tmp_path: Path, trimbench: CommandLine) -> None:
    path = tmp_path / "two.wav"
    pair = np.column_stack([detector(1.0), detector(1.0, m150=0.3)])
    wavfile.write(path, RATE_HZ, pair.astype(np.float32))
    said = trimbench("analyze", path)
    assert said.code == 2
    assert "look like two detectors" in said.err
    assert trimbench("analyze", path, "--channel", 2, "--json").json["ddm"] == pytest.approx(
        0.11, abs=2e-4
    )


REFUSED = {
    "no DC": detector(1.0) - detector(1.0).mean(),
    "too short": detector(0.05),
    "empty": detector(1.0)[:0],
    "not a number": np.where(np.arange(RATE_HZ) == 9, np.nan, detector(1.0)),
    "clipped": np.minimum(detector(1.0), 0.6),
    "no tones": np.full(RATE_HZ, 0.5) + 1e-3 * np.random.default_rng(2).standard_normal(RATE_HZ),
}


@pytest.mark.parametrize("why", REFUSED)
def test_what_cannot_be_measured_is_refused_with_the_reason(
    why: str, tmp_path: Path, trimbench: CommandLine
) -> None:
    path = tmp_path / "record.npy"
    np.save(path, REFUSED[why])
    said = trimbench("analyze", path, "--rate", "8 kHz")
    assert said.code == 2
    assert said.out == ""
    said.is_a_short_message()
    error = trimbench("analyze", path, "--rate", "8 kHz", "--json").error
    assert error["kind"] == "SamplesError"
    assert error["hint"]


@pytest.mark.parametrize("content", [b"", b"RIFF", b"not a sound file at all" * 10])
def test_a_file_that_is_no_sound_file_is_refused(
    content: bytes, tmp_path: Path, trimbench: CommandLine
) -> None:
    path = tmp_path / "broken.wav"
    path.write_bytes(content)
    said = trimbench("analyze", path)
    assert said.code == 2
    said.is_a_short_message()


def test_a_table_that_cannot_be_written_is_said(wav: Path, trimbench: CommandLine) -> None:
    said = trimbench("analyze", wav, "--series", wav.parent / "nowhere" / "series.csv", "--json")
    assert said.code == 4
    assert "nowhere" in said.err


@pytest.mark.parametrize(
    "argv",
    [
        (),
        ("none.wav",),
        ("none.wav", "--point", "course width"),
        ("--point", "none", "--station", str(STATION)),
    ],
)
def test_a_file_or_a_point_has_to_be_there(argv: tuple[str, ...], trimbench: CommandLine) -> None:
    said = trimbench("analyze", *argv)
    assert said.code == 2
    said.is_a_short_message()
