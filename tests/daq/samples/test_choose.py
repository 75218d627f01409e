from dataclasses import replace

import numpy as np
import pytest

from daq.samples.choose import first_fit, grow
from daq.samples.fit import Fit
from daq.samples.lowpass import to_baseband
from tests.daq.samples.synthetic import Truth, record


def chosen(truth: Truth, seed: int = 1) -> Fit:
    band = to_baseband(record(truth, np.random.default_rng(seed)), truth.rate_hz)
    return grow(band, first_fit(band))


def names(found: Fit) -> set[str]:
    return {term.name for term in found.terms} - {"90 Hz tone", "150 Hz tone"}


def test_nothing_is_added_to_clean_tones() -> None:
    spurious = sum(len(names(chosen(Truth(duration_s=0.3), seed))) for seed in range(40))
    # 15 looks a record at a chance of about 1 in 1,100 each: half a term is expected in 40.
    assert spurious <= 3


@pytest.mark.parametrize("hz", [49.9, 60.05])
def test_mains_hum_is_found_at_either_frequency(hz: float) -> None:
    found = chosen(Truth(hum=0.01, f_hum=hz))
    assert names(found) == {"hum"}
    assert found.free_hz[3] == pytest.approx(hz, abs=0.01)


def test_twice_the_mains_is_found_without_the_mains() -> None:
    found = chosen(Truth(hum=0.01, f_hum=100.1))
    assert names(found) == {"second harmonic of the mains"}
    assert found.free_hz[3] == pytest.approx(50.05, abs=0.01)


def test_a_component_of_seven_standard_deviations_is_hardly_ever_missed() -> None:
    truth = Truth(hum=1.0, f_hum=50.0)
    depth = 7.0 * truth.sigma / truth.c0 * np.sqrt(2.0 / truth.samples)
    found = [names(chosen(replace(truth, hum=depth), seed)) for seed in range(20)]
    assert sum("hum" in some for some in found) >= 18


def test_harmonics_and_products_are_told_by_name() -> None:
    found = chosen(Truth(extra=((0.01, 180.0, 0.0), (0.006, 450.0, 1.0), (0.008, 240.0, 2.0))))
    assert names(found) == {"2 x 90 Hz", "3 x 150 Hz", "sum of the tones"}


def test_a_component_too_close_to_a_tone_is_not_added() -> None:
    """On a tenth of a second, 100 Hz and 90 Hz are one."""
    found = chosen(Truth(duration_s=0.11, hum=0.02, f_hum=100.0))
    assert "second harmonic of the mains" not in names(found)


def test_harmonics_of_a_tone_led_astray_are_not_sought_beyond_the_band() -> None:
    """A tone that is missing may end anywhere: four times 400 Hz lies above half of 3 kHz."""
    truth = Truth(rate_hz=3_000.0, duration_s=0.11, m90=0.0)
    band = to_baseband(record(truth, np.random.default_rng(2)), truth.rate_hz)
    astray = replace(first_fit(band), free_hz=np.array([400.0, 150.0, 1020.0, 50.0]))
    assert not {name for name in names(grow(band, astray)) if "90 Hz" in name}
