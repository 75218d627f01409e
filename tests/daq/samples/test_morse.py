import numpy as np
import pytest

from daq.samples.analyze import analyze_samples
from daq.samples.morse import CODE, UNKNOWN, decode
from tests.daq.samples.synthetic import Truth, record

# ITU-R M.1677-1, part I, section 1.1 (from memory): some signs, written here a second time.
SIGNS = {"I": "..", "T": "-", "N": "-.", "Q": "--.-", "5": ".....", "0": "-----", "7": "--..."}


def keying(text: str, dot: int) -> np.ndarray:
    """Render `text` with the timing of ITU-R M.1677-1, part I, section 2 (from memory)."""
    on: list[int] = [0] * 7 * dot
    for word in text.split():
        for letter in word:
            for sign in CODE[letter]:
                on += [1] * (dot if sign == "." else 3 * dot) + [0] * dot
            on += [0] * 2 * dot
        on += [0] * 4 * dot
    return np.array(on, dtype=np.float64)


def test_signs_as_in_the_recommendation() -> None:
    assert {letter: CODE[letter] for letter in SIGNS} == SIGNS
    assert len(set(CODE.values())) == 36


@pytest.mark.parametrize("text", ["ITN", "ITN ITN ITN", "PARIS", "E5 T0", "QZ 9"])
@pytest.mark.parametrize("dot", [12, 20, 37])
def test_rendered_text_comes_back(text: str, dot: int) -> None:
    message = decode(keying(text, dot), 0.005)
    assert message is not None
    assert message.text == text
    assert message.dot_s == pytest.approx(dot * 0.005, rel=1e-9)


def test_speed_counts_paris() -> None:
    """The word PARIS with its space is 50 dots, so at 7 words a minute a dot is 171 ms."""
    assert len(keying("PARIS", 1)) - 7 == 50
    message = decode(keying("PARIS PARIS", 20), 60.0 / 50.0 / 7.0 / 20.0)
    assert message is not None
    assert message.wpm == pytest.approx(7.0, rel=1e-9)


def test_noise_and_an_uneven_hand_are_borne() -> None:
    rng = np.random.default_rng(3)
    for _ in range(20):
        on = keying("ITN ITN", 20)
        on = np.repeat(on, rng.choice([0, 1, 1, 1, 1, 1, 1, 1, 2], size=len(on)))
        message = decode(np.abs(on + 0.12 * rng.standard_normal(len(on))), 0.005)
        assert message is not None
        assert message.text == "ITN ITN"


def test_letters_that_the_record_cuts_are_left_out() -> None:
    on = keying("ITN ITN ITN", 20)
    message = decode(on[7 * 20 + 30 : -11 * 20 - 15], 0.005)
    assert message is not None
    assert message.text in {"TN ITN IT", "TN ITN I", "TN ITN ITN"}


def test_a_group_that_is_no_letter_is_marked() -> None:
    on = keying("ITN", 20)
    group = np.concatenate([on, np.repeat([1, 0] * 7 + [0] * 6, 20)])
    message = decode(np.concatenate([group, on]), 0.005)
    assert message is not None
    assert UNKNOWN in message.text


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_steady_tone_is_no_message(level: float) -> None:
    assert decode(np.full(2000, level), 0.005) is None


def test_text_out_of_a_detector_record() -> None:
    truth = Truth(rate_hz=8_000.0, duration_s=16.0, snr_db=35.0)
    steps = keying("ITN ITN", 24)
    place = np.minimum((truth.t / 0.005).astype(int), len(steps) - 1)
    tone = 0.1 * truth.c0 * np.sin(2.0 * np.pi * 1020.0 * truth.t)
    v = record(truth, np.random.default_rng(4)) + steps[place] * tone
    a = analyze_samples(v, truth.rate_hz)
    assert a.ident_text == "ITN ITN"
    assert a.ident_wpm == pytest.approx(10.0, rel=0.02)
