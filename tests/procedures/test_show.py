"""Values in words."""

from __future__ import annotations

import pytest

from daq.reading import QUANTITIES
from procedures.show import said_value


@pytest.mark.parametrize(
    ("quantity", "value", "words"),
    [
        ("ddm", 0.155, "0.1550, 150 Hz predominates (DDM)"),
        ("ddm", -0.0140, "0.0140, 90 Hz predominates (DDM)"),
        ("ddm", 0.0, "0.0000, balanced (DDM)"),
        ("sdm", 0.4, "40.00 %"),
        ("vpp", 1.5, "1.500 V peak to peak"),
        ("frequency", 109.35475e6, "109.354750 MHz"),
        ("tone_150", 150.0, "150.000 Hz"),
        ("rf_level", -47.3, "-47.3 dBm"),
        ("power", 12.5, "12.5 W"),
    ],
)
def test_a_value_is_said_as_people_say_it(quantity: str, value: float, words: str) -> None:
    assert said_value(quantity, value) == words


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_every_quantity_can_be_said(quantity: str) -> None:
    assert said_value(quantity, 1.0)
