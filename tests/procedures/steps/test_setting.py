"""A control turned until the captured value lies in its band, and what is said on the way."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.profile import computed, turn_to
from procedures.steps.setting import TRIES, bring_to_target
from tests.support.steps import stage


def test_a_capture_out_of_the_band_is_said_with_its_value_before_the_next(tmp_path: Path) -> None:
    """The value first, then what it should be; the watch is not begun again without a word."""
    with stage(tmp_path) as on:
        on.turn("course width IF level", 0.1)
        on.who.commands = {"/adjust 1": iter(["go on", "go on", "capture"])}
        left = bring_to_target(on.bench, "k", "course width IF")
        told = [text for text in on.who.told if "out of the band" in text]
        captured = on.requests("judge")["k/as left 1/verdict"]["value"]
    assert told == [
        f"'course width IF' reads {captured:.3f} V peak to peak: out of the band, 1.47 to 1.53 V. "
        "Again."
    ]
    assert left.value == pytest.approx(1.5, abs=0.03)


def test_the_last_capture_out_of_the_band_ends_it_without_an_again(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.turn("course width IF level", 0.1)
        on.who.commands = {
            f"/adjust {n}": iter(["go on", "go on", "capture"]) for n in range(1, TRIES + 1)
        }
        with pytest.raises(Refused, match="after 3 adjustments"):
            bring_to_target(on.bench, "k", "course width IF")
        assert sum("Again." in text for text in on.who.told) == TRIES - 1


def test_a_profile_says_it_too(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        before = on.bench.measure("k/before", "course width", label="normal")
        on.who.commands = {"/adjust 1": iter(["go on", "capture"])}
        limit = computed(-0.1287 if before.value < 0.0 else 0.1287, 0.001, "course width")
        turn_to(on.bench, "k", "course width", limit, "course SBO level", before)
        (told,) = [text for text in on.who.told if "out of the band" in text]
    assert told.startswith("'course width' reads 0.15")
    assert told.endswith("out of the band, 0.1277 to 0.1297. Again.")
