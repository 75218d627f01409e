"""What the terminal says about the page."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import segno
from rich.console import Console

from procedures.page.announce import announce, qr_code

if TYPE_CHECKING:
    from tests.procedures.page.conftest import Rig

MODULES = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}


def test_the_code_on_the_terminal_is_the_one_that_was_made() -> None:
    """Read back module by module and compared with segno's own matrix (ISO/IEC 18004)."""
    text = "https://192.0.2.7:8471/#pair=" + "A" * 24
    lines = qr_code(text).splitlines()
    read = [[MODULES[c][half] for c in line] for line in lines for half in (0, 1)]
    matrix = [list(row) for row in segno.make(text, error="l").matrix]
    side = len(matrix)
    assert [row[2 : 2 + side] for row in read[2 : 2 + side]] == matrix
    assert not any(read[0]), "the quiet zone"
    assert len(lines[0]) <= 60


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
