"""Where each alarm has to come at the latest."""

from __future__ import annotations

import pytest

from daq.errors import Refused
from daq.station import Station
from daq.station_equipment import AlarmEntry
from procedures.trims.alarm_setting import alarm_setting, sensitivity_per_m
from tests.support.equipment import station_of, station_text, without_tables


def entry(kind: str, **more: object) -> AlarmEntry:
    given = {"name": kind, "kind": kind, "point": "course width", "control": "x", **more}
    return AlarmEntry.model_validate(given)


def station(*changes: tuple[str, str]) -> Station:
    return station_of(station_text(*changes))


@pytest.mark.parametrize(
    ("category", "ddm"),
    [
        # Annex 10 Vol I, 3.1.3.11.2 a) to c), from memory: 10.5 m or 0.015 DDM, 7.5 m, 6 m; at
        # 0.00145 DDM/m.
        ("I", 0.0150),
        ("II", 0.010875),
        ("III", 0.0087),
    ],
)
def test_the_course_shift_is_the_category_s(category: str, ddm: float) -> None:
    of = station(('category = "II"', f'category = "{category}"'))
    for side, sign in ((150, 1.0), (90, -1.0)):
        found = alarm_setting(of, entry("course shift", point="course line", side=side))
        assert found.value == pytest.approx(sign * ddm, rel=2e-3)
        assert "3.1.3.11.2" in found.source
        assert "from memory" in found.status


@pytest.mark.parametrize(
    ("basis", "wide", "narrow"),
    # The two conventions in use for 17 per cent of 0.155 (common practice, no source).
    [("sensitivity", 0.1287, 0.1814), ("width", 0.1325, 0.1867)],
)
def test_wide_and_narrow_follow_the_convention(basis: str, wide: float, narrow: float) -> None:
    of = station(('alarm_basis = "sensitivity"', f'alarm_basis = "{basis}"'))
    assert alarm_setting(of, entry("wide")).value == pytest.approx(wide, abs=6e-5)
    assert alarm_setting(of, entry("narrow")).value == pytest.approx(narrow, abs=6e-5)


def test_power_may_fall_farther_with_one_carrier() -> None:
    """Annex 10 Vol I, 3.1.3.11.2 d) and e), from memory: 50 per cent, 80 with two carriers."""
    assert alarm_setting(station(), entry("power")).at(15.0) == pytest.approx(12.0)
    single = station(("carriers = 2", "carriers = 1"))
    assert alarm_setting(single, entry("power")).at(15.0) == pytest.approx(7.5)
    assert alarm_setting(single, entry("power", setting=0.6)).source == "station file"


def test_clearance_is_on_its_own_side() -> None:
    """Annex 10 Vol I, 3.1.3.11.2.1, a recommendation from memory: 0.155."""
    assert alarm_setting(station(), entry("clearance", point="clearance 90")).value == -0.155
    assert alarm_setting(station(), entry("clearance", point="clearance 150")).value == 0.155
    stated = entry("clearance", point="clearance 90", setting=0.16)
    assert alarm_setting(station(), stated).value == -0.16


def test_what_the_station_has_to_state_is_asked_for() -> None:
    with pytest.raises(Refused, match="Nothing says where"):
        alarm_setting(station(), AlarmEntry.model_construct(name="x", kind="ident", setting=None))
    with pytest.raises(Refused, match="no target"):
        alarm_setting(station(), entry("wide", point="course line"))


def test_the_limit_lies_on_the_far_side_of_the_way_from_normal() -> None:
    wide, narrow = (
        alarm_setting(station(), entry("wide")),
        alarm_setting(station(), entry("narrow")),
    )
    assert (wide.limit(0.155, "w").low, wide.limit(0.155, "w").high) == (wide.value, None)
    assert (narrow.limit(0.155, "n").low, narrow.limit(0.155, "n").high) == (None, narrow.value)
    power = alarm_setting(station(), entry("power")).limit(15.6, "p")
    assert (power.low, power.high) == (0.8, None)


def test_the_sensitivity_is_the_one_that_the_width_is_tailored_to() -> None:
    assert sensitivity_per_m(station()) == pytest.approx(0.155 / 106.9)
    text = without_tables(station_text(), "[course]", "[course.")
    # Annex 10 Vol I, Attachment C, Figure C-9: 0.00145 DDM/m.
    assert sensitivity_per_m(station_of(text)) == 0.00145
