"""The how-to's example loads, and its transcript reads as it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from daq.clock import SystemClock
from drivers.profile import QuantitySection
from drivers.profile_trial import try_profile

HOW_TO = Path(__file__).parents[2] / "drivers" / "PROFILES.md"


def test_the_example_reads_its_transcript(tmp_path):
    text = HOW_TO.read_text(encoding="utf-8")
    [profile] = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    [transcript] = re.findall(r"```\n(->.*?)```", text, re.DOTALL)
    (tmp_path / "mine.toml").write_text(profile)
    (tmp_path / "mine.transcript").write_text(transcript)
    trial = try_profile(
        str(tmp_path / "mine.toml"),
        resource="",
        transcript=tmp_path / "mine.transcript",
        clock=SystemClock(),
    )
    assert trial.passed, trial
    identity, ddm = trial.steps
    assert "OSTREL XR3 serial 0412, firmware 1.2" in identity.says
    assert ddm.reading is not None
    assert ddm.reading.value == pytest.approx(-98.7 * 0.155 / 150)  # 90 Hz predominates


def test_every_key_of_a_quantity_is_explained():
    table = HOW_TO.read_text(encoding="utf-8")
    for key in set(QuantitySection.model_fields) - {"name", "timeout_s"}:
        assert f"`{key}`" in table
