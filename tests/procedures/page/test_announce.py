"""What the terminal says about the page."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from rich.console import Console

from procedures.page.announce import announce

if TYPE_CHECKING:
    from tests.procedures.page.conftest import Rig


def test_a_page_for_this_machine_is_told_in_a_line(rig: Rig) -> None:
    console = Console(file=io.StringIO(), width=80, _environ={})
    announce(console, rig.page, acts=False)
    assert isinstance(console.file, io.StringIO)
    said = console.file.getvalue()
    assert rig.page.url in said
    assert "cannot act" in said


def test_a_page_for_the_network_brings_code_address_and_fingerprint(lan_rig: Rig) -> None:
    console = Console(file=io.StringIO(), width=80, force_terminal=True, _environ={"TERM": "xterm"})
    announce(console, lan_rig.page, acts=True)
    assert isinstance(console.file, io.StringIO)
    said = console.file.getvalue()
    assert "█" in said
    assert lan_rig.page.pairing_url in said.replace("\n", "")
    assert lan_rig.page.fingerprint in said.replace("\n", "")


def test_a_used_token_is_not_shown_again(lan_rig: Rig) -> None:
    lan_rig.page._pairing.exchange(lan_rig.page._pairing.token)
    assert lan_rig.page.pairing_url == lan_rig.page.url
