"""The monitor's other channels: each read and judged, set where a control can, told where not."""

from __future__ import annotations

from pathlib import Path

import pytest

from procedures.steps.channels import monitor_channels
from tests.support.steps import stage

CHANNELS = ("course line", "clearance 90", "clearance 150", "far field monitor")


def test_every_channel_is_read_and_judged_and_nothing_is_touched(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        before = on.under.sim.plant.truth().positions
        monitor_channels(on.bench)
        judged = on.requests("judge")
        assert on.under.sim.plant.truth().positions == before
    assert list(judged) == [f"channels/{name}/as found/verdict" for name in CHANNELS]
    assert {row["verdict"] for row in judged.values()} == {"in tolerance"}


def test_a_channel_that_is_out_and_has_no_control_is_told_and_the_work_goes_on(
    tmp_path: Path,
) -> None:
    with stage(tmp_path) as on:
        on.turn("clearance SBO level", -0.2)
        monitor_channels(on.bench)
        judged = on.requests("judge")
        told = " ".join(on.who.told)
    assert judged["channels/clearance 90/as found/verdict"]["verdict"] == "out of tolerance"
    assert "'clearance 90' reads" in told
    assert "find the cause" in told
    assert "channels/far field monitor/as found/verdict" in judged


def test_a_channel_that_is_out_and_has_a_control_is_set(tmp_path: Path) -> None:
    """The control is the transmitter's own here; what counts is that the reading comes right."""
    with_control = {
        'target = "-0.210"\nadjust_to = "0.010"': (
            'target = "-0.210"\nadjust_to = "0.004"\ncontrol = "clearance SBO level"'
        )
    }
    with stage(tmp_path, changes=with_control) as on:
        on.turn("clearance SBO level", -0.2)
        monitor_channels(on.bench)
        rows = [
            row
            for key, row in on.requests("judge").items()
            if key.startswith("channels/clearance 90")
        ]
    assert rows[0]["verdict"] == "out of tolerance"
    assert rows[-1]["verdict"] == "in tolerance"
    assert rows[-1]["value"] == pytest.approx(-0.210, abs=0.004)
