"""How late a driven receiver's values are: found from both directions, or taken as stated."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daq.station_receiver_log import ReceiverLog
from procedures.trims.drive_delay import Delay, StatedDelay, find_delay, independent_part
from procedures.trims.line_fit import Floats
from tests.procedures.trims.driven import Made, azimuth_deg

UNKNOWN = StatedDelay(0.0, 1.0)
WITHIN = (azimuth_deg(-95.0), azimuth_deg(95.0))


def found(made: Made, stated: StatedDelay = UNKNOWN, *, u_place_m: float = 0.0) -> Delay:
    return find_delay(made.drive(), WITHIN, stated, u_place_m=u_place_m)


@settings(max_examples=25, deadline=None)
@given(st.floats(-1.5, 1.5), st.floats(2.0, 10.0), st.floats(-1e6, 1e6))
def test_the_delay_that_was_put_in_is_found(late_s: float, speed: float, begin_s: float) -> None:
    delay = found(Made(late_s=late_s, speed_m_s=speed, begin_s=begin_s))
    assert delay.estimated
    assert delay.delay_s == pytest.approx(late_s, abs=1e-4)
    assert delay.hysteresis_m == pytest.approx(2.0 * speed * late_s, abs=0.02)


def test_a_curved_course_does_not_look_like_a_delay() -> None:
    def curved(x: Floats) -> Floats:
        return 0.00145 * x + 2e-6 * x**2 - 2e-8 * x**3

    assert found(Made(ddm=curved, late_s=0.4)).delay_s == pytest.approx(0.4, abs=0.002)


@pytest.mark.parametrize("memory", [0.0, 0.7])
def test_its_uncertainty_is_that_of_a_monte_carlo(memory: float) -> None:
    """100 drives: the scatter of the estimates is what each says of itself, within 25 per cent."""
    drives = [
        found(Made(late_s=0.4, noise_ddm=0.001, memory=memory, seed=seed)) for seed in range(100)
    ]
    estimates = np.array([each.delay_s for each in drives])
    said = float(np.mean([each.delay_u_s for each in drives]))
    assert np.std(estimates) == pytest.approx(said, rel=0.25)
    assert abs(np.mean(estimates) - 0.4) < 4.0 * said / 10.0


def test_a_position_error_of_a_whole_pass_looks_like_a_delay() -> None:
    """One metre at 6 m/s, two passes: 1 / (6 sqrt 2) s."""
    assert found(Made(late_s=0.4), u_place_m=1.0).delay_u_s == pytest.approx(0.1179, abs=0.001)


def test_one_direction_tells_nothing_and_says_so() -> None:
    delay = found(Made(late_s=0.4, one_way=True), StatedDelay(0.3, 0.1, 0.2, 0.05))
    assert not delay.estimated
    assert delay.delay_s == pytest.approx(0.5)
    assert delay.delay_u_s == pytest.approx(np.hypot(0.1, 0.05))
    assert (delay.lag_s, delay.hysteresis_m, delay.passes) == (0.3, 0.0, 1)
    assert "takes both directions" in delay.warnings[0]


def test_a_stated_delay_that_is_not_there_is_said() -> None:
    delay = found(Made(late_s=0.9, noise_ddm=3e-4), StatedDelay(0.2, 0.05))
    assert delay.delay_s == pytest.approx(0.9, abs=0.01)
    assert "which is not the stated one of 0.20" in delay.warnings[0]
    assert found(Made(late_s=0.22, noise_ddm=3e-4), StatedDelay(0.2, 0.05)).warnings == ()


def test_clocks_that_are_apart_are_no_smoothing() -> None:
    delay = found(Made(late_s=0.9), StatedDelay(0.2, 0.1, clock_offset_s=0.7))
    assert delay.lag_s == pytest.approx(0.2, abs=1e-4)


def test_which_way_was_driven_first_does_not_matter() -> None:
    forth = found(Made(late_s=0.4, ddm=np.sin))
    made = Made(late_s=0.4, ddm=lambda x: np.sin(-x), backwards=True)
    assert found(made).delay_s == pytest.approx(forth.delay_s, abs=1e-9)


def test_rows_that_hang_together_count_as_fewer() -> None:
    """A first-order autoregression with r = 0.8 keeps (1 - r) / (1 + r) = 1/9 of its rows."""
    rng = np.random.default_rng(5)
    x = np.zeros(20_000)
    for n in range(1, len(x)):
        x[n] = 0.8 * x[n - 1] + rng.standard_normal()
    assert independent_part(x) == pytest.approx(1 / 9, rel=0.05)
    assert independent_part(rng.standard_normal(20_000)) == pytest.approx(1.0, abs=0.03)
    assert independent_part(np.zeros(5)) == 1.0


def test_no_answer_is_better_than_a_wild_one() -> None:
    flat = found(Made(ddm=np.zeros_like))
    assert not flat.estimated
    level = replace(Made(ddm=np.zeros_like), noise_ddm=0.001)
    assert abs(found(level).delay_s) <= 60.0


def test_what_a_station_says_is_taken_over() -> None:
    layout = ReceiverLog.model_validate(
        {"ddm_unit": "uA", "positive": 90, "u": 0, "lag": "0.5 s", "lag_u": "0.1 s"}
    )
    assert StatedDelay.of(layout) == StatedDelay(0.5, 0.1, 0.0, 0.0)
