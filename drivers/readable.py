"""What the instruments of a station can read, told from their profiles: nothing is opened."""

from __future__ import annotations

from pathlib import Path

from drivers.portless import PORTLESS
from drivers.registry import find_profile, python_drivers


def readable_quantities(profile: str, base: Path) -> frozenset[str] | None:
    """Return the quantities that an instrument of this profile reads.

    Parameters
    ----------
    profile, base
        As in `drivers.registry.find_profile`; a driver's name is taken, too.

    Returns
    -------
    frozenset of str or None
        None where only the opened instrument can tell: a meter that is read by hand, a recording,
        a driver in Python.

    Raises
    ------
    ProfileError
        There is no such profile, or it is not right.
    """
    if profile in (*PORTLESS, *python_drivers()):
        return None
    return frozenset(find_profile(profile, base).quantity)
