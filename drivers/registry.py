"""From the words in a station file to an open instrument."""

from __future__ import annotations

from collections.abc import Callable
from importlib.metadata import EntryPoint, entry_points
from importlib.resources import as_file, files
from pathlib import Path
from typing import Final, Protocol

from daq.clock import Clock
from daq.errors import ProfileError
from daq.roles import Instrument, InstrumentClass
from daq.toml_file import did_you_mean
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.profile import Profile, load_profile
from drivers.profiled import Place, ProfiledInstrument, ignore_gap
from drivers.session import Gap

DRIVER_GROUP: Final = "trimbench.drivers"
"""Entry point group in which Python drivers of others register."""


class DriverFactory(Protocol):
    """What an entry point of `DRIVER_GROUP` has to be."""

    def __call__(self, instrument_class: InstrumentClass, place: Place) -> Instrument:
        """Open the instrument."""


def shipped_profiles() -> tuple[str, ...]:
    """Return the names of the profiles that come with the program."""
    folder = files("drivers") / "profiles"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def python_drivers() -> tuple[str, ...]:
    """Return the names under which Python drivers have registered; none of them is loaded."""
    return tuple(sorted(point.name for point in entry_points(group=DRIVER_GROUP)))


def find_profile(name: str, base: Path) -> Profile:
    """Return the profile that a station file means.

    Parameters
    ----------
    name
        The name of a shipped profile, or the path of a file ending in ``.toml``.
    base
        Folder of the station file, at which a relative path begins.

    Raises
    ------
    ProfileError
        There is none of that name, or the file is not right.
    """
    if name.endswith(".toml"):
        return load_profile(base / name)
    known = shipped_profiles()
    if name not in known:
        everything = (*known, *python_drivers())
        raise ProfileError(
            f"There is no profile or driver {name!r}; there are {', '.join(everything)}.",
            hint=did_you_mean(name, everything)
            or "give the path of a profile of your own, ending in .toml.",
        )
    with as_file(files("drivers") / "profiles" / f"{name}.toml") as path:
        return load_profile(path)


def open_instrument(
    alias: str,
    instrument_class: InstrumentClass,
    profile: str,
    resource: str,
    *,
    clock: Clock,
    base: Path,
    on_gap: Callable[[Gap], None] = ignore_gap,
) -> Instrument:
    """Open the instrument of a station file's entry.

    Parameters
    ----------
    alias, instrument_class, profile, resource
        As in the entry. `profile` may also name a Python driver.
    clock
        For deadlines and time stamps.
    base
        Folder of the station file.
    on_gap
        Called, in the instrument's own thread, when it is back after a loss.

    Raises
    ------
    ProfileError
        The profile or driver is missing, wrong, or for another class of instrument.
    BenchError
        The instrument cannot be reached or is another one.
    """
    place = Place(alias, resource, clock, base, on_gap)
    driver = _python_driver(profile)
    if driver is not None:
        return _load(driver)(instrument_class, place)
    found = find_profile(profile, base)
    actual = found.instrument.instrument_class
    if actual is not instrument_class:
        raise ProfileError(
            f"The profile {profile} is for another class, {actual}: {alias} is to be of class "
            f"{instrument_class}.",
            key="instrument.class",
        )
    kind = ProfiledOscilloscope if found.waveform is not None else ProfiledInstrument
    return kind(found, place)


def _python_driver(name: str) -> EntryPoint | None:
    return next(iter(entry_points(group=DRIVER_GROUP, name=name)), None)


def _load(point: EntryPoint) -> DriverFactory:
    """Load a driver of others; whatever goes wrong in it is said as its own fault."""
    try:
        factory = point.load()
    except Exception as exc:
        raise ProfileError(
            f"The driver {point.name} ({point.value}) cannot be loaded: "
            f"{type(exc).__name__}: {exc}.",
            hint="reinstall the package that it comes from.",
        ) from exc
    if not callable(factory):
        raise ProfileError(f"The driver {point.name} ({point.value}) cannot be called.")
    typed: DriverFactory = factory
    return typed
