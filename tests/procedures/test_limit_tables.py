"""Tables of limits and where they come from."""

from __future__ import annotations

import pytest

from daq.errors import InputError
from procedures.limit_tables import Category, Facility, find_limit, limits_for, load_limits


@pytest.mark.parametrize(
    ("category", "metres", "status"),
    [
        ("I", 10.5, "read in a secondary text"),
        ("II", 7.5, "read in a secondary text"),
        ("III", 3.0, "read in a secondary text"),
    ],
)
def test_alignment_by_category(category: Category, metres: float, status: str) -> None:
    """Annex 10 Vol I, 3.1.3.6.1."""
    row = find_limit("localizer", category, "alignment_m")
    assert (row.low, row.high, row.status) == (-metres, metres, status)
    assert "3.1.3.6.1" in row.limit().source


@pytest.mark.parametrize(("category", "percent"), [("I", 17), ("II", 17), ("III", 10)])
def test_sensitivity_by_category(category: Category, percent: float) -> None:
    """Annex 10 Vol I, 3.1.3.7.2; category II from memory, and a conflict that the note tells."""
    row = find_limit("localizer", category, "sensitivity_change")
    assert row.high == pytest.approx(percent / 100.0)
    assert row.kinds == ("stay-within",)
    if category == "II":
        assert row.status == "from memory (high)"
        assert "10 per cent" in row.note


@pytest.mark.parametrize(("category", "seconds"), [("I", 10), ("II", 5), ("III", 2)])
def test_time_to_alarm_by_category(category: Category, seconds: float) -> None:
    """Annex 10 Vol I, 3.1.3.11.3.1, from memory."""
    assert find_limit("localizer", category, "alarm_time").high == seconds


def test_the_glide_path_is_another_table() -> None:
    row = find_limit("glide-path", "III", "sensitivity_change")
    assert (row.high, row.status) == (0.15, "read in the standard")


@pytest.mark.parametrize("facility", ["localizer", "glide-path"])
def test_every_row_says_where_it_comes_from(facility: Facility) -> None:
    for row in load_limits(facility):
        assert row.source
        assert row.section or row.source == "common practice", row.key
        assert row.name
        assert row.limit().status == row.status


@pytest.mark.parametrize("category", ["I", "II", "III"])
@pytest.mark.parametrize("facility", ["localizer", "glide-path"])
def test_no_category_has_two_demanded_rows_of_one_key(
    facility: Facility, category: Category
) -> None:
    keys = [row.key for row in limits_for(facility, category) if not row.recommended]
    assert len(keys) == len(set(keys))


def test_kinds_pick_rows() -> None:
    alarms = limits_for("localizer", "II", kind="alarm")
    assert {row.key for row in alarms} >= {"alarm_course_shift_m", "alarm_power_dual"}
    assert all(row.kinds == ("alarm",) for row in alarms)


def test_a_station_overrides_a_row_and_the_row_says_so() -> None:
    row = find_limit(
        "localizer", "II", "sensitivity_change", overrides={"sensitivity_change": {"high": 0.1}}
    )
    assert (row.low, row.high, row.status) == (-0.17, 0.1, "station file")


def test_an_override_leaves_what_the_standard_only_recommends() -> None:
    rows = limits_for("localizer", "II", overrides={"alignment_m": {"high": 6.0, "low": -6.0}})
    highs = {row.recommended: row.high for row in rows if row.key == "alignment_m"}
    assert highs == {False: 6.0, True: 4.5}


@pytest.mark.parametrize(
    ("override", "message"),
    [
        ({"sensitivity": {"high": 0.1}}, "which the table does not have"),
        ({"sensitivity_change": {"high": "ten"}}, "not a number"),
        ({"sensitivity_change": {"hihg": 0.1}}, "cannot be overridden"),
        ({"sensitivity_change": {"high": -0.5}}, "above its high end"),
    ],
)
def test_an_override_that_fits_nothing_is_refused(
    override: dict[str, dict[str, object]], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        limits_for("localizer", "II", overrides=override)


def test_an_unknown_key_is_answered_with_those_known() -> None:
    with pytest.raises(InputError, match="alignment_m"):
        find_limit("localizer", "I", "aligment")
