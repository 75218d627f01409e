"""How often an ident is sent, from keyings drawn with the lengths of ITU-R M.1677-1."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daq.samples.ident_repetition import (
    TIME_BASE_U,
    decode_longest,
    marks_of,
    repetition,
    transmissions,
)
from daq.samples.keyed_ident import KeyedEnvelope

STEP_S = 0.002
DOT_S = 0.12
ITN = ".. - -."
MARKS = 5
LASTS_S = 17 * DOT_S
"""ITN: 3 + 3 + 3 + 3 + 5 dots by part I, 2.1 to 2.3 of the recommendation (from memory)."""


def marks(code: str, dot_s: float = DOT_S) -> list[tuple[float, float]]:
    found, now = [], 0.0
    for letter in code.split(" "):
        for sign in letter:
            length = dot_s if sign == "." else 3 * dot_s
            found.append((now, now + length))
            now += length + dot_s
        now += 2 * dot_s
    return found


def sent(
    starts_s: Sequence[float], length_s: float, *, code: str = ITN, place_u_s: float = 0.0006
) -> KeyedEnvelope:
    t = (np.arange(round(length_s / STEP_S)) + 0.5) * STEP_S
    depth = np.zeros(len(t))
    for start_s in starts_s:
        for on, off in marks(code):
            depth[(t >= start_s + on) & (t < start_s + off)] = 0.08
    return KeyedEnvelope(depth, STEP_S, place_u_s)


def test_start_and_end_of_each_are_where_they_were_sent() -> None:
    found = transmissions(sent([1.0, 9.0], 12.0), DOT_S, MARKS)
    assert [one.start_s for one in found] == pytest.approx([1.0, 9.0], abs=STEP_S)
    assert [one.end_s for one in found] == pytest.approx([1 + LASTS_S, 9 + LASTS_S], abs=STEP_S)


def test_one_that_the_record_cuts_has_no_start_or_no_end() -> None:
    first, last = transmissions(sent([-1.0, 7.0], 8.0), DOT_S, MARKS)
    assert (first.start_s, last.end_s) == (None, None)
    assert first.end_s == pytest.approx(-1.0 + LASTS_S, abs=STEP_S)
    assert last.start_s == pytest.approx(7.0, abs=STEP_S)


def test_a_silence_too_short_to_prove_a_start_proves_none() -> None:
    """0.3 s of silence before a mark may be a space between letters, which has three dots."""
    first, _ = transmissions(sent([0.3, 8.3], 10.0), DOT_S, MARKS)
    assert first.start_s is None


@given(every_s=st.floats(4.0, 14.0), first_s=st.floats(0.0, 4.0), late=st.floats(0.0, 0.5))
def test_in_half_a_minute_the_intervals_come_out_as_sent(
    every_s: float, first_s: float, late: float
) -> None:
    late_s = late * (every_s - LASTS_S)
    starts = [first_s + k * every_s + (k % 2) * late_s for k in range(-1, 9)]
    found = repetition([sent(starts, 40.0)], DOT_S, MARKS)
    assert found is not None
    true = {round(b - a, 6) for a, b in pairwise(starts)}
    assert all(min(abs(one - each) for each in true) < 2 * STEP_S for one in found.intervals_s)
    assert found.unequal is not None
    assert found.unequal.value == pytest.approx(
        2.0 * late_s / np.mean(found.intervals_s), abs=0.002
    )


def test_six_a_minute_is_told_from_fewer() -> None:
    """Annex 10 Vol I, 3.1.3.9.4: not less than six times a minute."""
    found = repetition([sent([0.9, 12.9, 24.9], 30.0)], DOT_S, MARKS)
    assert found is not None
    assert found.per_minute is not None
    assert found.per_minute.value == pytest.approx(5.0, abs=0.001)
    assert found.per_minute.u == pytest.approx(5.0 * TIME_BASE_U, rel=0.3)


def test_two_ends_do_where_only_one_start_was_seen() -> None:
    found = repetition([sent([-1.0, 6.5], 10.0)], DOT_S, MARKS)
    assert found is not None
    assert found.intervals_s == pytest.approx([7.5], abs=STEP_S)


def test_one_interval_says_nothing_of_the_next() -> None:
    """Six a minute cannot be had from it: every second one may be late."""
    found = repetition([sent([1.0, 10.5], 14.0)], DOT_S, MARKS)
    assert found is not None
    assert (found.per_minute, found.unequal) == (None, None)


def test_the_mean_that_they_are_compared_with_is_uncertain_too() -> None:
    """An odd number of alternating intervals has another mean than an even one: 8 s, not 7.67."""
    found = repetition([sent([1.0, 8.0, 17.0, 24.0], 28.0)], DOT_S, MARKS)
    assert found is not None
    assert found.unequal is not None
    assert found.unequal.value == pytest.approx(2.0 / (23.0 / 3.0), abs=0.001)
    assert abs(found.unequal.value - 2.0 / 8.0) < 2.0 * found.unequal.u


def test_nothing_is_concluded_over_what_was_not_seen() -> None:
    """Each record holds one transmission: their distance is anybody's guess."""
    assert repetition([sent([2.0], 6.0), sent([3.0], 6.0)], DOT_S, MARKS) is None


def test_a_record_begun_in_a_transmission_and_ended_in_the_next_gives_no_interval() -> None:
    """The end of the one and the start of the other are no interval."""
    assert repetition([sent([-1.0, 7.0], 8.0)], DOT_S, MARKS) is None


def test_intervals_of_several_records_are_taken_together() -> None:
    found = repetition([sent([1.0, 8.0], 11.0), sent([0.8, 8.8], 11.0)], DOT_S, MARKS)
    assert found is not None
    assert found.per_minute is not None
    assert found.intervals_s == pytest.approx([7.0, 8.0], abs=STEP_S)
    assert found.per_minute.value == pytest.approx(8.0, abs=0.01)
    # What they scatter is in the mean's uncertainty: 0.5 s of 7.5.
    assert found.per_minute.u == pytest.approx(8.0 * 0.5 / 7.5, rel=0.02)


def test_the_short_pause_after_an_i_parts_nothing() -> None:
    """Annex 10 Vol I, 3.1.3.9.3 (from memory): I and a short pause may come before the letters."""
    own = [(on, off) for on, off in marks("..")] + [
        (on + 1.2, off + 1.2) for on, off in marks("- -.")
    ]
    t = (np.arange(10_000) + 0.5) * STEP_S
    depth = np.zeros(len(t))
    for start_s in (1.0, 9.0, 17.0):
        for on, off in own:
            depth[(t >= start_s + on) & (t < start_s + off)] = 0.08
    found = repetition([KeyedEnvelope(depth, STEP_S, 0.0006)], DOT_S, MARKS)
    assert found is not None
    assert found.intervals_s == pytest.approx([8.0, 8.0], abs=STEP_S)


def with_pause(
    starts_s: Sequence[float], dot_s: float, length_s: float, letters: str = ".- -... -.-."
) -> KeyedEnvelope:
    """I, a space between words, and the letters of the station."""
    lead = marks("..", dot_s)
    rest_s = lead[-1][1] + 7.0 * dot_s
    own = lead + [(on + rest_s, off + rest_s) for on, off in marks(letters, dot_s)]
    t = (np.arange(round(length_s / STEP_S)) + 0.5) * STEP_S
    depth = np.zeros(len(t))
    for start_s in starts_s:
        for on, off in own:
            depth[(t >= start_s + on) & (t < start_s + off)] = 0.08
    return KeyedEnvelope(depth, STEP_S, 0.0006)


IABC_MARKS = 12


@pytest.mark.parametrize(("dot_s", "every_s"), [(0.15, 10.0), (0.16, 11.0), (0.12, 8.0)])
@pytest.mark.parametrize("first_s", [-7.0, -3.1, 0.4, 2.0])
def test_a_pause_nearly_as_long_as_the_silence_doubles_nothing(
    dot_s: float, every_s: float, first_s: float
) -> None:
    """I, a pause of seven dots (ITU-R M.1677-1, from memory), ABC; the silence is 2.8 to 3.8 s."""
    starts = [first_s + k * every_s for k in range(6)]
    found = repetition([with_pause(starts, dot_s, 4.5 * every_s)], dot_s, IABC_MARKS)
    assert found is not None
    assert found.intervals_s == pytest.approx([every_s] * len(found.intervals_s), abs=2 * STEP_S)
    assert found.per_minute is not None
    assert found.per_minute.value == pytest.approx(60.0 / every_s, abs=0.01)
    assert found.unequal is not None
    assert found.unequal.value < 0.002


@pytest.mark.parametrize("first_s", [2.0, 3.0, 4.0])
def test_one_whole_transmission_with_a_pause_is_no_two(first_s: float) -> None:
    assert repetition([with_pause([first_s], 0.15, 14.0)], 0.15, IABC_MARKS) is None


def test_pieces_of_ten_seconds_double_nothing_either() -> None:
    pieces = [with_pause([off, off + 10.0], 0.15, 20.0) for off in (-6.0, -2.0, 1.0)]
    found = repetition(pieces, 0.15, IABC_MARKS)
    assert found is not None
    assert found.intervals_s == pytest.approx([10.0] * len(found.intervals_s), abs=2 * STEP_S)


def test_another_code_with_silences_too_like_each_other_is_not_measured() -> None:
    """IABC where ITN is known: nobody knows whether the pause is inside a transmission."""
    starts = [0.4 + 10.0 * k for k in range(4)]
    assert repetition([with_pause(starts, 0.15, 40.0)], 0.15, MARKS) is None


def test_another_code_with_silences_of_two_clear_kinds_is_measured() -> None:
    """5 s of silence and 0.7 s of pause."""
    starts = [1.0 + 10.0 * k for k in range(4)]
    found = repetition([with_pause(starts, 0.1, 40.0)], 0.1, MARKS)
    assert found is not None
    assert found.intervals_s == pytest.approx([10.0] * 3, abs=2 * STEP_S)


def test_an_ident_has_as_many_marks_as_its_letters() -> None:
    assert marks_of("ITN") == MARKS
    assert marks_of("IABC") == IABC_MARKS


def test_the_text_is_that_of_the_longest_record_that_has_one() -> None:
    silent = KeyedEnvelope(np.zeros(20_000), STEP_S, 0.0)
    found = decode_longest([sent([1.0], 5.0), silent, sent([1.0, 9.0], 14.0)])
    assert found is not None
    assert found.text == "ITN ITN"
    assert found.dot_s == pytest.approx(DOT_S, abs=0.002)


def test_without_a_key_there_is_no_text_and_no_interval() -> None:
    silent = KeyedEnvelope(np.full(5000, 0.001), STEP_S, 0.0)
    assert decode_longest([silent]) is None
    assert repetition([silent], DOT_S, MARKS) is None
    assert transmissions(silent, DOT_S, MARKS) == ()
