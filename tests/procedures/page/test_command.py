"""The page beside a run, as the command line asks for it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rich.console import Console

from daq.clock import SystemClock
from procedures.page.command import keys_for, shown_on, wanted_page
from procedures.page.keys import SharedKeys
from procedures.page.shown import ShownOperator
from procedures.terminal.keys import Keyboard
from procedures.terminal.operator import TerminalOperator

if TYPE_CHECKING:
    from daq.station import Station
    from tests.procedures.page.conftest import Rig


def test_without_the_option_nothing_is_served_and_nothing_changes(station: Station) -> None:
    who = TerminalOperator(Console(file=io.StringIO()), Keyboard())
    with wanted_page(station, 1, SystemClock(), page=False, lan=False, acts=True) as page:
        assert page is None
        assert type(keys_for(page)) is Keyboard
        assert shown_on(page, who, acts=True) is who


def test_with_a_page_the_keyboard_is_shared_and_the_operator_shown(rig: Rig) -> None:
    who = TerminalOperator(rig.console, keys_for(rig.page))
    assert isinstance(keys_for(rig.page), SharedKeys)
    shown = shown_on(rig.page, who, acts=True)
    assert isinstance(shown, ShownOperator)
    assert shown.name == who.name
