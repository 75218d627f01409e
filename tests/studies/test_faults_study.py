"""The fault matrix as a table, and a thousand reconnects on each link.

The matrix is the one of tests/faults, where each cell is a test; here its times are printed, and a
link that closes late is waited for. The reconnects count threads and descriptors of the whole
process, server included.
"""

from __future__ import annotations

import time
from collections import Counter

import pytest

from daq.errors import BenchError
from drivers.profiled import ProfiledInstrument
from sim_instruments.faults import MENU
from sim_instruments.link_faults import DropLink
from tests.faults.matrix import HEADER, Met, meet
from tests.faults.stand import LINKS, Stand, settled, stand, threads_and_descriptors

RECONNECTS = {"socket": 1000, "serial": 1000, "HiSLIP": 1000, "VXI-11": 20}
"""pyvisa-py 0.8.1 needs two seconds for each lost VXI-11 link."""

HALTS = 10
"""Errors beyond those that are made on purpose, from a machine that halts now and then."""

CLOSES_S = 8.0
"""pyvisa-py 0.8.1 needs up to 5 s to close a VXI-11 session whose far end is gone."""


@pytest.mark.study
@pytest.mark.timeout(240)
@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # pyvisa-py's, HiSLIP
def test_the_matrix(tmp_path, caplog):
    caplog.set_level("CRITICAL", logger="pyvisa")  # its records hold sockets open
    before = threads_and_descriptors()
    table: list[Met] = []
    for fault in MENU:
        for link in LINKS:
            folder = tmp_path / f"{fault} {link}"
            folder.mkdir()
            with stand(link, folder) as made:
                table.append(meet(made, fault, link))
            del made
    after = settled(before, CLOSES_S)
    print("", HEADER, *table, sep="\n")
    noticed = [met.notice_s for met in table if met.notice_s is not None]
    well = [met.recover_s for met in table if met.recover_s is not None]
    print(
        f"{len(table)} cells, {len(noticed)} noticed; longest to notice {max(noticed):.2f} s, "
        f"to be well again {max(well):.2f} s; threads {before[0]} -> {after[0]}, "
        f"descriptors {before[1]} -> {after[1]}"
    )
    assert after[0] <= before[0]
    assert after[1] <= before[1]


@pytest.mark.study
@pytest.mark.timeout(240)
@pytest.mark.filterwarnings("ignore:unclosed <socket:ResourceWarning")  # pyvisa-py's, HiSLIP
@pytest.mark.parametrize("link", LINKS)
def test_reconnects_after_a_loss_leave_no_thread_and_no_descriptor(link, tmp_path, caplog):
    """The link breaks instead of an answer, again and again; the same object reads on."""
    caplog.set_level("CRITICAL", logger="pyvisa")
    began = time.monotonic()
    with stand(link, tmp_path) as made:
        made.instrument.measure("ddm")
        before = threads_and_descriptors()
        errors = Counter[str]()
        for _ in range(RECONNECTS[link]):
            errors.update(lost_and_found(made))
        after = settled(before, CLOSES_S)
        away = len(made.events("instrument was away"))
    print(
        f"\n{link}: {RECONNECTS[link]} reconnects in {time.monotonic() - began:.1f} s, "
        f"errors told {dict(errors)}, {away} absences logged, "
        f"threads {before[0]} -> {after[0]}, descriptors {before[1]} -> {after[1]}"
    )
    # More only where the machine halted for longer than an answer may take.
    assert RECONNECTS[link] <= away <= RECONNECTS[link] + HALTS
    assert after[0] <= before[0]
    assert after[1] <= before[1]


def lost_and_found(made: Stand) -> list[str]:
    """Break the link once; return the kinds of the errors until a reading came, which is right."""
    made.panel.arm(DropLink(back_s=0.0), matching="MEAS")
    kinds: list[str] = []
    while len(kinds) < 20:
        try:
            reading = made.instrument.measure("ddm")
        except BenchError as error:
            kinds.append(type(error).__name__)
        else:
            assert reading.value == made.device.given[-1].value
            return kinds
    raise AssertionError(f"not well again: {kinds}")


@pytest.mark.study
@pytest.mark.timeout(240)
@pytest.mark.parametrize("link", ["VXI-11"])
def test_a_thousand_openings_leave_no_thread_and_no_descriptor(link, tmp_path, caplog):
    """Opened, read and closed: what a thousand reconnects cost where each loss takes seconds."""
    caplog.set_level("CRITICAL", logger="pyvisa")
    began = time.monotonic()
    with stand(link, tmp_path) as made:
        made.instrument.close()
        before = threads_and_descriptors()
        late = sum(not opened_and_read(made) for _ in range(1000))
        after = settled(before, CLOSES_S)
    print(
        f"\n{link}: opened and closed 1000 times in {time.monotonic() - began:.1f} s, {late} late, "
        f"threads {before[0]} -> {after[0]}, descriptors {before[1]} -> {after[1]}"
    )
    assert after[0] <= before[0]
    assert after[1] <= before[1]
    assert late <= HALTS


def opened_and_read(made: Stand) -> bool:
    """Open, read and close; False where the machine halted for longer than an answer may take."""
    try:
        instrument = ProfiledInstrument(made.instrument._profile, made.instrument._place)
    except BenchError:
        return False
    try:
        assert instrument.measure("ddm").value == made.device.given[-1].value
    except BenchError:
        return False
    finally:
        instrument.close()
    return True
