"""The identification judged, and keyed for as long as that takes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from daq.errors import Refused
from daq.station_equipment import IdentCheck
from procedures.steps.identification import check_identification
from tests.support.steps import Stage, stage

LONG = IdentCheck(point="identification", records=3)
KEPT_ON = IdentCheck(point="identification", records=3, suppressed=False)


def checked(
    on: Stage, table: IdentCheck = LONG
) -> tuple[Mapping[str, Mapping[str, object]], Mapping[str, Mapping[str, object]]]:
    check_identification(on.bench, "ident", table, 0.002)
    return on.requests("judge"), on.requests("note")


def mode(on: Stage) -> float:
    """What the plant keys at this moment: its depth, 0 when it is suppressed."""
    return on.under.sim.plant.ident_depth


@pytest.mark.parametrize(
    ("change", "key", "true"),
    [
        # Annex 10 Vol I, 3.1.3.9.4: not less than six times a minute, at about equal intervals;
        # a dot of 0.1 to 0.160 s. 14 CFR 171.111(e)(2): 5 to 15 per cent.
        ({"ident_repeat_s": 11.0}, "repetition", 60.0 / 11.0),
        ({"ident_late_s": 1.2}, "intervals", 2.4 / 8.0),
        ({"ident_dot_s": 0.18}, "dot", 0.18),
        ({"ident_depth": 0.04}, "depth", 0.04),
    ],
)
def test_what_is_off_is_found_and_nothing_else(
    tmp_path: Path, change: dict[str, float], key: str, true: float
) -> None:
    with stage(tmp_path, plant={"tx1": {"ident_depth": 0.08, **change}}) as on:
        judged, _ = checked(on)
    row = judged[f"ident/{key}/verdict"]
    assert row["verdict"] == "out of tolerance"
    assert row["value"] == pytest.approx(true, rel=0.1)
    others = {k for k in judged if k != f"ident/{key}/verdict"}
    assert {judged[k]["verdict"] for k in others} <= {"in tolerance", "too close to call"}


def test_each_limit_says_where_it_is_from(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        judged, notes = checked(on)
    assert {row["verdict"] for row in judged.values()} == {"in tolerance"}
    assert judged["ident/repetition/verdict"]["source"] == "Annex 10 Vol I, 3.1.3.9.4"
    assert judged["ident/intervals/verdict"]["source"] == "station file"
    assert notes["ident/code"]["right"] is True


def test_a_suppressed_one_is_keyed_for_the_measurement_only(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        assert mode(on) == 0.0
        checked(on)
        assert mode(on) == 0.0
        assert on.bench.hazards == {}
        asked = [prompt.key for prompt in on.who.asked]
    assert asked.index("ident/on") < asked.index("ident/caught/connect") < asked.index("ident/off")
    off = on.who.asked[asked.index("ident/off")]
    assert "keyed although the facility is withdrawn" in off.caution


def test_one_that_is_not_suppressed_again_ends_the_run_and_is_reminded_of(tmp_path: Path) -> None:
    with stage(tmp_path) as on:
        on.who.answers = {"ident/off": False}
        with pytest.raises(Refused, match="Suppress the identification again"):
            checked(on)
        (hazard,) = on.bench.hazards.values()
    assert hazard.undo[0].arguments == {"mode": "off"}


def test_where_local_rules_have_it_on_it_stays_on(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"ident_suppressed": 0}) as on:
        checked(on, KEPT_ON)
        assert mode(on) == pytest.approx(0.08)
        assert "ident/off" not in on.who.asked_keys


def test_what_was_not_seen_is_said_and_not_judged(tmp_path: Path) -> None:
    """One record of ten seconds holds one interval of six or eight at most."""
    with stage(tmp_path) as on:
        judged, _ = checked(on, IdentCheck(point="identification", records=1))
        told = on.who.told
    assert "ident/intervals/verdict" not in judged
    assert any("NOT measured" in said for said in told)


def test_another_code_is_noted_as_the_record_looks_for_it(tmp_path: Path) -> None:
    with stage(tmp_path, plant={"ident": "ITS"}) as on:
        _, notes = checked(on)
        told = on.who.told
    code = notes["ident/code"]
    assert (code["title"], code["wanted"], code["right"]) == ("Identification", "ITN", False)
    assert any("is NOT ITN: " in said and "ITS" in said for said in told)


def test_intervals_are_kept_as_they_were_found(tmp_path: Path) -> None:
    """Rounding is for whoever prints them."""
    with stage(tmp_path) as on:
        _, notes = checked(on)
    kept = notes["ident/intervals"]["intervals"]
    assert isinstance(kept, list)
    seconds = [float(each["interval_s"]) for each in kept]
    assert len(seconds) >= 2
    assert all(each != round(each, 3) for each in seconds)
