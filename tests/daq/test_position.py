"""A position and the fix that it rests on."""

import pytest

from daq.position import Fix, Position


def test_a_position_survives_the_journal():
    position = Position(57.25, -4.5, 36_901.4, Fix.RTK_FLOAT, 9, 0.9, "gnss", 10, 20, "$GPGGA")
    body = position.to_body()
    assert body["fix"] == "rtk float"
    assert Position.from_body(body) == position


@pytest.mark.parametrize("fix", list(Fix))
def test_only_what_satellites_gave_just_now_counts_as_measured(fix):
    guessed = {Fix.NONE, Fix.ESTIMATED, Fix.MANUAL, Fix.SIMULATED}
    assert fix.measured is (fix not in guessed)
