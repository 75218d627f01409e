"""What the commands about profiles use; fulfils `daq.trial.ProfileTools` as a module."""

from __future__ import annotations

from pathlib import Path

from daq.trial import ListedProfile
from drivers.portless import PORTLESS
from drivers.profile_draft import draft_profile
from drivers.profile_trial import try_profile
from drivers.registry import find_profile, python_drivers, shipped_profiles

__all__ = ["catalogue", "draft", "try_profile"]

draft = draft_profile


def catalogue() -> tuple[ListedProfile, ...]:
    """Return every profile and driver that a station file may name."""
    shipped = [
        ListedProfile(name, str(section.instrument_class), section.description)
        for name in shipped_profiles()
        for section in (find_profile(name, Path()).instrument,)
    ]
    built_in = [ListedProfile(name, description=_WORDS[name]) for name in PORTLESS]
    others = [ListedProfile(name, description="Python driver") for name in python_drivers()]
    return (*shipped, *built_in, *others)


_WORDS = {
    "keyed": "any class; a meter without a port, whose readings are typed",
    "recording": "any class; a WAV, a CSV or an earlier run's log in an instrument's place",
}
