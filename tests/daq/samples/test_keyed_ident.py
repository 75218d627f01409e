"""When the key is down, from records whose keying is known to the sample."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from daq.samples.keyed_ident import (
    LONGEST_HOLE_S,
    TimedRecord,
    keyed_down,
    keyed_envelopes,
    timed_record,
)

RATE_HZ = 10_000.0
Floats = npt.NDArray[np.float64]
MARKS = ((0.513, 0.632), (0.901, 1.277), (1.4004, 1.5204))


def heard(start_s: float, length_s: float, *, depth: float = 0.08, seed: int = 0) -> Floats:
    """A detector's record with the tones, the marks of `MARKS` every two seconds, and noise."""
    t = start_s + np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    down = sum(((t % 2.0 >= on) & (t % 2.0 < off)).astype(float) for on, off in MARKS)
    tones = 0.2 * np.sin(2 * np.pi * 90 * t) + 0.2 * np.sin(2 * np.pi * 150 * t + 1.0)
    noise = 0.004 * np.random.default_rng(seed).standard_normal(len(t))
    return np.asarray(
        1.3 * (1.0 + tones + depth * down * np.sin(2 * np.pi * 1020 * t + 0.4)) + noise
    )


def edges(records: list[TimedRecord]) -> list[Floats | None]:
    return [keyed_down(one) for one in keyed_envelopes(records, 1020.0)]


@pytest.mark.parametrize("depth", [0.02, 0.08, 0.15])
def test_each_switching_is_found_within_a_millisecond(depth: float) -> None:
    (found,) = edges([TimedRecord(heard(0.0, 2.0, depth=depth), RATE_HZ)])
    assert found == pytest.approx(np.ravel(MARKS), abs=0.001)


def test_the_envelope_is_the_depth_while_the_key_is_down() -> None:
    (envelope,) = keyed_envelopes([TimedRecord(heard(0.0, 2.0), RATE_HZ)], 1020.0)
    middle = round(1.1 / envelope.step_s)
    assert envelope.depth[middle] == pytest.approx(0.08, abs=0.001)
    # 60 dB of tones of 0.20 are left, and some noise.
    assert envelope.depth[: round(0.45 / envelope.step_s)].max() < 0.004


def test_a_tone_some_hertz_off_is_followed_too() -> None:
    (envelope,) = keyed_envelopes([TimedRecord(heard(0.0, 2.0), RATE_HZ)], 1024.0)
    assert keyed_down(envelope) == pytest.approx(np.ravel(MARKS), abs=0.001)


@pytest.mark.parametrize("hole_s", [0.0, 0.011, 0.033])
def test_records_that_follow_closely_are_one_even_if_cut_in_a_mark(hole_s: float) -> None:
    """Cut at 1.1 s, in the long mark; what lies in the hole is taken from beside it."""
    later = 1.1 + hole_s
    records = [
        TimedRecord(heard(0.0, 1.1), RATE_HZ, 50.0),
        TimedRecord(heard(later, 3.0, seed=1), RATE_HZ, 50.0 + later),
    ]
    (found,) = edges(records)
    assert found is not None
    assert found[:6] == pytest.approx(np.ravel(MARKS), abs=0.002)
    assert found[6:12] == pytest.approx(2.0 + np.ravel(MARKS), abs=0.002)


def test_a_switching_in_the_hole_is_put_into_its_middle() -> None:
    """The long mark ends at 1.277 s; from 1.26 to 1.295 s nobody looked."""
    records = [
        TimedRecord(heard(0.0, 1.26), RATE_HZ, 0.0),
        TimedRecord(heard(1.295, 0.7), RATE_HZ, 1.295),
    ]
    (found,) = edges(records)
    assert found is not None
    assert found[3] == pytest.approx(1.2775, abs=0.002)
    assert found == pytest.approx(np.ravel(MARKS), abs=0.002)


def test_a_hole_that_could_hide_a_dot_parts_them() -> None:
    apart = 1.0 + LONGEST_HOLE_S + 0.01
    records = [
        TimedRecord(heard(0.0, 1.0), RATE_HZ, 0.0),
        TimedRecord(heard(apart, 1.0), RATE_HZ, apart),
    ]
    assert len(edges(records)) == 2


def test_records_without_a_clock_are_not_put_together() -> None:
    assert len(edges([TimedRecord(heard(0.0, 1.0), RATE_HZ)] * 3)) == 3


def test_a_clock_says_when_a_record_began_as_well_as_it_can() -> None:
    """Ten seconds within 10.2: the start is anywhere in 0.2 s, u = 0.2 / sqrt(12) (JCGM 100)."""
    record = timed_record(np.zeros(1000), 100.0, 5.0, 15.2)
    assert record.start_s == pytest.approx(5.1)
    assert record.start_u_s == pytest.approx(0.0577, abs=1e-4)


def test_a_clock_that_ran_less_than_the_record_is_another_one() -> None:
    assert timed_record(np.zeros(1000), 100.0, 5.0, 6.0).start_s is None


def test_the_doubt_of_the_clocks_and_of_the_hole_is_in_a_switching_s_place() -> None:
    one = TimedRecord(heard(0.0, 1.0), RATE_HZ, 0.0, 0.004)
    (alone,) = keyed_envelopes([one], 1020.0)
    (joined,) = keyed_envelopes([one, TimedRecord(heard(1.03, 1.0), RATE_HZ, 1.03, 0.008)], 1020.0)
    assert alone.place_u_s == pytest.approx(0.002 / 12**0.5)
    # 30 ms between the records, and half a window at either side of them.
    assert joined.place_u_s == pytest.approx((0.05**2 / 12 + 0.008**2) ** 0.5, rel=0.1)


@pytest.mark.parametrize("samples", [heard(0.0, 2.0, depth=0.0), heard(0.95, 0.3), heard(0.0, 0.4)])
def test_what_is_not_keyed_has_no_marks(samples: Floats) -> None:
    """No ident, one that is down all the time, and the silence before one."""
    (found,) = edges([TimedRecord(samples, RATE_HZ)])
    assert found is None


def test_a_mark_that_the_record_cuts_reaches_to_its_end() -> None:
    (found,) = edges([TimedRecord(heard(0.55, 0.5), RATE_HZ)])
    assert found == pytest.approx([0.0, 0.082, 0.351, 0.5], abs=0.002)
