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

LEFT_BEHIND_S = 7.0
"""pyvisa-py 0.8.1 needs up to 5 s to close a VXI-11 session whose far end is gone."""


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
    left = settled(before, LEFT_BEHIND_S)
    assert left[0] <= before[0]
    assert left[1] <= before[1]
