"""Words by which the record knows again what a procedure noted or asked."""

from __future__ import annotations

from typing import Final

AGAIN: Final = "again"
"""Part of a step's name, with a number, where something is asked or read once more."""

TAKEN_AGAIN: Final = "Readings taken again"
"""Title of the note on readings that said nothing; its ``void`` lists their steps."""

VOID: Final = "void, "
"""How the label of such a reading begins in the record; it is no as-found value."""

CUT_CHECKED: Final = "Cut checked"
"""Title of the note on what a cut did against what it should have done; see its ``agrees``."""
