"""What the terminal shows to bring a screen to the page."""

from __future__ import annotations

import segno

from procedures.page.invitation import invitation, qr_code

MODULES = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
ADDRESS = "https://192.0.2.7:8471/#pair=abc"


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


def test_a_terminal_that_cannot_draw_still_gets_the_address() -> None:
    said = invitation(ADDRESS, "AB:CD", acts=True, code=False)
    assert not set(said) & set("█▀▄")
    assert ADDRESS in said
    assert "AB:CD" in said
    assert said.isascii()


def test_a_screen_that_only_looks_is_not_told_that_its_code_works_once() -> None:
    assert "once" in invitation(ADDRESS, "AB:CD", acts=True, code=True)
    assert "once" not in invitation(ADDRESS, "AB:CD", acts=False, code=True)
