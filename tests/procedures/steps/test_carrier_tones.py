"""Tones of the clearance carrier against the course carrier's, judged."""

from __future__ import annotations

from pathlib import Path

import pytest

from daq.errors import Refused
from procedures.steps.carrier_tones import check_carrier_tones
from tests.support.steps import Stage, stage


def judged(on: Stage) -> dict[int, tuple[float, float, str]]:
    table = on.bench.station.transmitter
    assert table is not None
    check_carrier_tones(on.bench, "tx", table)
    rows = on.requests("judge")
    return {
        tone: (float(str(row["value"])), float(str(row["u"])), str(row["verdict"]))
        for tone in (90, 150)
        for row in [rows[f"tx/carriers/tone_phase_{tone}/verdict"]]
    }


@pytest.mark.parametrize(
    ("lead", "verdicts"),
    [
        # Annex 10 Vol I, 3.1.3.5.3.4, from memory: within 20 degrees of the tone (I and II).
        ((12.0, -15.0), ("in tolerance", "in tolerance")),
        ((-24.0, 3.0), ("out of tolerance", "in tolerance")),
        ((3.0, 26.0), ("in tolerance", "out of tolerance")),
        ((20.1, -19.9), ("too close to call", "too close to call")),
    ],
)
def test_each_tone_is_judged_by_its_own_phase(
    tmp_path: Path, lead: tuple[float, float], verdicts: tuple[str, str]
) -> None:
    clearance = {"tone_90_phase_deg": lead[0], "tone_150_phase_deg": lead[1]}
    # The phase between the tones of one carrier is another matter.
    plant = {"tx1": {"tone_phase_deg": 9.0, "clearance": clearance}}
    with stage(tmp_path, plant=plant) as on:
        found = judged(on)
    for tone, true, verdict in zip((90, 150), lead, verdicts, strict=True):
        value, u, said = found[tone]
        assert said == verdict
        assert abs(value - true) < 3.0 * u


def test_one_carrier_alone_has_no_beat(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.under.sim.hands.do("switch carrier", {"carrier": "clearance", "state": "off"})
        with pytest.raises(Refused, match=r"both CSB detector.*No beat of two carriers"):
            judged(on)


def test_category_iii_has_half_the_limit(tmp_path: Path) -> None:
    plant = {"tx1": {"clearance": {"tone_90_phase_deg": 12.0}}}
    changes = {'category = "II"': 'category = "III"'}
    with stage(tmp_path, plant=plant, changes=changes) as on:
        assert judged(on)[90][2] == "out of tolerance"
