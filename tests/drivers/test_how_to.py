"""The how-to's example loads, and its transcript reads as it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.trial import Trial
from drivers.profile_quantity import QuantitySection
from drivers.profile_trial import try_profile

HOW_TO = Path(__file__).parents[2] / "drivers" / "PROFILES.md"


EXAMPLES = re.findall(
    r"```toml\n(.*?)```.*?```\n(->.*?)```", HOW_TO.read_text(encoding="utf-8"), re.DOTALL
)


def tried(folder: Path, profile: str, transcript: str) -> Trial:
    """Try an example against its transcript."""
    (folder / "mine.toml").write_text(profile)
    (folder / "mine.transcript").write_text(transcript)
    trial = try_profile(
        str(folder / "mine.toml"),
        resource="",
        transcript=folder / "mine.transcript",
        clock=SystemClock(),
    )
    assert trial.passed, trial
    return trial


def test_the_example_of_a_receiver_reads_its_transcript(tmp_path):
    identity, ddm = tried(tmp_path, *EXAMPLES[0]).steps
    assert "OSTREL XR3 serial 0412, firmware 1.2" in identity.says
    assert ddm.reading is not None
    assert ddm.reading.value == pytest.approx(-98.7 * 0.155 / 150)  # 90 Hz predominates


def test_the_example_of_an_alarm_unit_reads_each_channel_of_its_transcript(tmp_path):
    _, *steps = tried(tmp_path, *EXAMPLES[1]).steps
    assert len(EXAMPLES) == 2
    found = {step.what: step.reading.value for step in steps if step.reading is not None}
    assert found == {
        "alarm, channel ALL": 1.0,
        "alarm, channel WIDTH": 1.0,
        "alarm, channel LINE": 0.0,
    }


def test_every_key_of_a_quantity_is_explained():
    table = HOW_TO.read_text(encoding="utf-8")
    for key in set(QuantitySection.model_fields) - {"name", "timeout_s"}:
        assert f"`{key}`" in table
