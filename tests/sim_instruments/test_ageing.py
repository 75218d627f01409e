"""Plants years later."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from daq.clock import ManualClock
from sim_instruments.ageing import STRIKES_A_YEAR, aged, history
from sim_instruments.bench import SimulatedBench
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant

NEW = PlantParameters(phase_error_deg=170.0)


def test_at_commissioning_nothing_has_changed():
    """Year zero is the plant as it was given."""
    for seed in range(20):
        assert aged(NEW, 0.0, seed) == NEW


def test_a_history_is_the_same_whenever_it_is_asked():
    """Same seed and date, same plant; another seed another history."""
    assert aged(NEW, 3.2, 4) == aged(NEW, 3.2, 4)
    assert aged(NEW, 3.2, 4) != aged(NEW, 3.2, 5)


def test_seasons_come_back_after_a_year():
    """Without strike, a year's change is drift alone, and the same from any day of the year."""
    seed = next(seed for seed in range(100) if min(history(seed).strikes_years, default=9) > 3)
    past = history(seed)

    def year(start: float) -> float:
        return past.change("phase_error_deg", start + 1) - past.change("phase_error_deg", start)

    assert year(0.1) == pytest.approx(year(0.6))
    half = past.change("phase_error_deg", 0.6) - past.change("phase_error_deg", 0.1)
    assert half != pytest.approx(year(0.1) / 2, abs=0.05)


def test_lightning_is_a_step():
    """A second before and after the strike, the phase differs by the step that was drawn."""
    seed = next(seed for seed in range(100) if len(history(seed).strikes_years) > 3)
    past = history(seed)
    when, step = past.strikes_years[0], past.courses["phase_error_deg"].steps[0]
    before, after = (past.change("phase_error_deg", when + dt) for dt in (-1e-9, 0.0))
    assert after - before == pytest.approx(step, abs=1e-6)


def test_strikes_come_as_often_as_they_should():
    """Poisson: 0.2 a year over 50 years, mean of 300 histories within four deviations."""
    counts = [len(history(seed).strikes_years) for seed in range(300)]
    assert np.mean(counts) == pytest.approx(50 * STRIKES_A_YEAR, abs=4 * np.sqrt(10 / 300))


def test_every_age_gives_a_plant_that_works():
    """Phases stay on the circle, ratios in their limits; transmitters lose power."""
    powers = []
    for seed in range(25):
        found = aged(NEW, 5.0, seed)
        Plant(found, ManualClock())
        assert -180 <= found.phase_error_deg <= 180
        powers.append(found.tx1.course.power_db)
        changed = {f.name for f in fields(NEW) if getattr(found, f.name) != getattr(NEW, f.name)}
        assert changed == {
            *("phase_error_deg", "transmit_phase_error_deg", "clearance_phase_error_deg"),
            *("width_ratio", "alignment_ddm", "tx1", "tx2", "visit"),
        }
    assert -0.5 < np.mean(powers) < -0.1


def test_visits_differ_in_noise_and_not_in_what_is_found():
    """Another visit: other noise, the same IF levels."""
    first, second = (Plant(PlantParameters(visit=n), ManualClock()) for n in (0, 7))
    assert first.position("course line IF level") == second.position("course line IF level")
    assert not np.array_equal(
        first.baseband("course line", 0.0, 48_000, 100),
        second.baseband("course line", 0.0, 48_000, 100),
    )


def test_a_bench_years_later():
    """The bench ages by the plant's own seed."""
    bench = SimulatedBench({"seed": 3}, ManualClock(), years=5.0)
    assert bench.plant.given == aged(PlantParameters(seed=3), 5.0, 3)


@pytest.mark.parametrize("years", [-0.1, 51.0, float("nan")])
def test_dates_out_of_range_are_refused(years):
    with pytest.raises(ValueError, match="years: 0 to 50"):
        aged(NEW, years, 1)
