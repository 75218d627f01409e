"""What a sweep says of a cable; scikit-rf makes the cables (see also test_trims_skrf.py)."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from daq.errors import InputError
from procedures.trims.sweep import Sweep, measure_sweep, read_sweep

CARRIER_HZ = 109.35e6
BAND_HZ = np.linspace(80e6, 140e6, 201)


def sweep(delay_s: float = 45e-9, *, passes: int = 1, f=BAND_HZ, gain: float = 0.9) -> Sweep:
    s = gain * np.exp(-2j * np.pi * f * delay_s * passes)
    return Sweep("cable.s2p", f, s, passes, 0.0)


@pytest.mark.parametrize("passes", [1, 2])
def test_a_pure_delay_is_found_whole_turns_included(passes: int) -> None:
    found = measure_sweep(sweep(passes=passes), CARRIER_HZ)
    assert found.delay_deg == pytest.approx(360.0 * CARRIER_HZ * 45e-9)
    assert found.group_delay_s == pytest.approx(45e-9)
    assert found.loss_db == pytest.approx(-20 * np.log10(0.9) / passes)
    assert found.ripple_db == pytest.approx(0.0, abs=1e-9)


def test_the_analyser_adds_its_uncertainty_halved_by_a_reflection() -> None:
    assert measure_sweep(sweep(), CARRIER_HZ, u_analyser_deg=0.8).delay_u_deg == pytest.approx(0.8)
    twice = measure_sweep(sweep(passes=2), CARRIER_HZ, u_analyser_deg=0.8)
    assert twice.delay_u_deg == pytest.approx(0.4)


def test_a_short_taken_for_an_open_is_refused() -> None:
    as_open = Sweep("cable.s1p", BAND_HZ, -sweep(passes=2).s, 2, 0.0)
    with pytest.raises(InputError, match="whole turns in the cable is not certain"):
        measure_sweep(as_open, CARRIER_HZ)


@pytest.mark.parametrize(
    ("bad", "message"),
    [
        (sweep(f=np.linspace(80e6, 100e6, 50)), "does not hold the carrier"),
        (sweep(f=BAND_HZ[:4]), "at least 5"),
        (sweep(gain=1.2), "more comes out"),
        (sweep(gain=0.0), "next to nothing"),
        (sweep(f=BAND_HZ[::-1]), "do not increase"),
        (sweep(f=np.linspace(80e6, 140e6, 7)), "too much to follow"),
        (sweep(delay_s=-45e-9), "no cable"),
        (Sweep("c", BAND_HZ, np.full(201, np.nan + 0j), 1, 0.0), "no number"),
    ],
)
def test_sweeps_that_say_nothing_are_refused(bad: Sweep, message: str) -> None:
    with pytest.raises(InputError, match=message):
        measure_sweep(bad, CARRIER_HZ)


@pytest.mark.parametrize(
    ("name", "content", "message"),
    [
        ("words.s1p", b"these are words\n", "no Touchstone file, or a damaged one"),
        ("binary.s2p", b"\xff\xfe\x00", "no Touchstone file"),
        ("half.s1p", b"# MHz S RI R 50\n1 1 1\n2 1\n", "no Touchstone file"),
        ("empty.s1p", b"", "at least 5"),
        ("sweep.txt", b"# MHz S RI R 50\n1 1 1\n", "no Touchstone file"),
        ("empty.bin", b"", "no Touchstone file"),
        ("none.s1p", None, "there is no such file"),
        ("folder.s1p", "folder", "this is a folder"),
    ],
)
def test_files_that_are_no_touchstone_are_refused_in_our_words(
    name: str, content: bytes | str | None, message: str, tmp_path: Path
) -> None:
    path = tmp_path / name
    if isinstance(content, bytes):
        path.write_bytes(content)
    elif content:
        path.mkdir()
    with pytest.raises(InputError, match=message) as caught:
        measure_sweep(read_sweep(path), CARRIER_HZ)
    for word in ("Errno", "Error", "reshape", "convert", "float", "NoneType"):
        assert word not in str(caught.value)


def test_a_sweep_is_never_run_as_a_program(tmp_path: Path) -> None:
    """A pickle does what it holds when it is loaded; this one would make a file."""
    made = tmp_path / "made"
    path = tmp_path / "pickle.s1p"
    path.write_bytes(b"cpathlib\nPath.touch\n(cpathlib\nPath\n(V" + bytes(made) + b"\ntRtR.")
    with pytest.raises(InputError, match="no Touchstone file"):
        read_sweep(path)
    assert not made.exists()


def test_too_few_points_are_told_from_a_phase_that_rises() -> None:
    """At 6 MHz from point to point half a turn is 25 m: c / (2 x 6 MHz), by hand."""
    coarse = sweep(delay_s=140e-9, f=np.linspace(84e6, 138e6, 10))
    with pytest.raises(InputError, match=r"6 MHz apart .* above 25\.0 m") as caught:
        measure_sweep(coarse, CARRIER_HZ)
    assert "more points" in caught.value.hint


def test_an_impossible_length_is_refused() -> None:
    with pytest.raises(InputError, match="physical length"):
        measure_sweep(sweep(), CARRIER_HZ, physical_m=-1.0)
