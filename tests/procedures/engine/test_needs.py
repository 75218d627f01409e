"""Only what a procedure reads is opened for it."""

from __future__ import annotations

import pytest

from procedures.catalogue import procedure
from tests.support.equipment import station_of, station_text, without_tables

METERS = {"power meter", "counter"}


@pytest.mark.parametrize(
    ("name", "needed"),
    [
        ("cable-set", set()),
        ("course", {"receiver"}),
        ("monitor-baseline", {"scope", "receiver"}),
        ("transmitter", {"scope", "scope for long records", *METERS}),
        ("alarms", {"receiver", "power meter", "alarm unit"}),
        ("flight-profiles", {"receiver", "power meter"}),
        ("routine", {"scope", "receiver", "power meter"}),
    ],
)
def test_each_procedure_of_the_equipment_needs_what_its_points_name(
    name: str, needed: set[str]
) -> None:
    assert procedure(name).needs(station_of(station_text())) == needed


def test_a_station_without_the_tables_needs_nothing_for_them() -> None:
    tables = ("[transmitter", "[[transmitter", "[alarms", "[[alarms", "[[flight")
    bare = station_of(without_tables(station_text(), *tables))
    for name in ("transmitter", "alarms", "flight-profiles"):
        assert procedure(name).needs(bare) == frozenset()
