"""Every fault of the menu on every link in the middle of an adjustment.

No wrong number, no lost reading, no hang, a sentence instead of a traceback, and afterwards the
same instrument object reads on and has left no thread and no descriptor behind. The table of it is
printed by the study of the same name.
"""

from __future__ import annotations

import pytest

from sim_instruments.faults import MENU
from tests.faults.matrix import EXPECTED, meet
from tests.faults.stand import LINKS, settled, stand, threads_and_descriptors

CLOSING = 1
"""Threads, each with its descriptor, in which a lost VXI-11 session may still be closing.

pyvisa-py 0.8.1 needs up to 5 s for that; the study waits for it.
"""


def test_the_whole_menu_is_looked_at():
    assert set(EXPECTED) == set(MENU)


@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # pyvisa-py's, HiSLIP
@pytest.mark.parametrize("fault", MENU)
@pytest.mark.parametrize("link", LINKS)
def test_a_fault_in_an_adjustment(link, fault, tmp_path):
    before = threads_and_descriptors()
    with stand(link, tmp_path) as made:
        meet(made, fault, link)
    del made
    late = CLOSING if link == "VXI-11" and EXPECTED[fault].seen == "LinkLost" else 0
    left = settled((before[0] + late, before[1] + late))
    assert left[0] <= before[0] + late
    assert left[1] <= before[1] + late


@pytest.mark.parametrize("fault", sorted(set(MENU) - {"frozen value", "stale value"}))
def test_a_fault_in_a_measurement(fault, tmp_path):
    """As before; the two that would be in the mean have tests of their own, test_safeguards.py."""
    with stand("socket", tmp_path) as made:
        meet(made, fault, "socket", during="measure")
