"""What an analyser shows of a feed cable: against transmission-line theory in scikit-rf."""

import numpy as np
import pytest
import skrf

from sim_instruments.cable import Cable
from sim_instruments.feeds import FeedCondition, reflection, write_sweep
from sim_instruments.parameters import PlantParameters

CARRIER_HZ = 109.35e6
CABLE = Cable(12.0, 0.82, 0.07)


@pytest.mark.parametrize(("far_end", "load"), [(1.0, "open"), (-1.0, "short")])
def test_a_sound_cable_is_a_line_with_loss_as_scikit_rf_has_it(far_end, load):
    frequency = skrf.Frequency(CARRIER_HZ, CARRIER_HZ, 1, unit="hz")
    alpha = 0.07 * np.log(10) / 20
    beta = 2 * np.pi * CARRIER_HZ / (0.82 * 299_792_458.0)
    line = skrf.media.DefinedGammaZ0(frequency, z0=50.0, gamma=alpha + 1j * beta)
    end = line.open() if load == "open" else line.short()
    expected = (line.line(12.0, "m") ** end).s[0, 0, 0]
    found = reflection(CABLE, CARRIER_HZ, np.array([CARRIER_HZ]), far_end=far_end)
    assert found[0] == pytest.approx(expected, abs=1e-6)


def test_a_fault_ripples_and_takes_level():
    f = np.linspace(99e6, 119e6, 201)
    sound = np.abs(reflection(CABLE, CARRIER_HZ, f, far_end=1.0))
    hurt = np.abs(reflection(CABLE, CARRIER_HZ, f, far_end=1.0, echo=0.08, extra_loss_db=0.9))
    assert np.ptp(20 * np.log10(sound)) < 0.2
    assert np.ptp(20 * np.log10(hurt)) > 1.0
    assert np.mean(hurt) < 0.86 * np.mean(sound)


def test_a_sweep_is_a_touchstone_file(tmp_path, rng):
    path = tmp_path / "a.s1p"
    quiet = FeedCondition(analyser_noise_deg=0.0, analyser_error_deg=0.0)
    write_sweep(path, CABLE, CARRIER_HZ, quiet, rng, far_end="short", damaged=False)
    network = skrf.Network(str(path))
    assert network.nports == 1
    assert len(network.f) == 201
    expected = reflection(CABLE, CARRIER_HZ, network.f, far_end=-1.0)
    assert network.s[:, 0, 0] == pytest.approx(expected, abs=1e-7)


def test_a_far_end_is_open_or_short(tmp_path, rng):
    with pytest.raises(ValueError, match="open or short"):
        write_sweep(
            tmp_path / "a.s1p",
            CABLE,
            CARRIER_HZ,
            FeedCondition(),
            rng,
            far_end="load",
            damaged=False,
        )


@pytest.mark.parametrize(
    ("table", "match"),
    [({"vswr": 0.9}, "1 or more"), ({"damaged_echo": 1.0}, "0 to 1")],
)
def test_a_condition_that_cannot_be_is_refused(table, match):
    with pytest.raises(ValueError, match=match):
        PlantParameters.from_table({"feeds": table})
