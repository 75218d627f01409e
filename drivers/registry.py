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
from drivers.keyed import Ask
from drivers.oscilloscope import ProfiledOscilloscope
from drivers.portless import PORTLESS, keyed_profile, open_keyed, open_recording
from drivers.position import ProfiledPositionReceiver
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
        everything = (*known, *PORTLESS, *python_drivers())
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
    ask: Ask | None = None,
) -> Instrument:
    """Open the instrument of a station file's entry.

    Parameters
    ----------
    alias, instrument_class, profile, resource
        As in the entry. `profile` may also be ``keyed``, ``recording``, or name a Python driver.
    clock
        For deadlines and time stamps.
    base
        Folder of the station file.
    on_gap
        Called, in the thread that owns the instrument then, when it is back after a loss.
    ask
        Asks the technician a question and returns the typed line, for meters without a port.

    Raises
    ------
    ProfileError
        The profile or driver is missing, wrong, or for another class of instrument.
    BenchError
        The instrument cannot be reached or is another one.
    InputError
        Nobody is there to type, or there is no such recording.
    """
    place = Place(alias, resource, clock, base, on_gap)
    if profile == "keyed":
        named = keyed_profile(resource)
        return open_keyed(
            instrument_class,
            place,
            ask,
            _for_class(named, instrument_class, place) if named else None,
        )
    if profile == "recording":
        return open_recording(instrument_class, place)
    driver = _python_driver(profile)
    if driver is not None:
        return _load(driver)(instrument_class, place)
    found = _for_class(profile, instrument_class, place)
    return _kind(found)(found, place)


def _kind(profile: Profile) -> type[ProfiledInstrument]:
    if profile.instrument.instrument_class is InstrumentClass.POSITION_RECEIVER:
        return ProfiledPositionReceiver
    return ProfiledOscilloscope if profile.waveform is not None else ProfiledInstrument


def _for_class(name: str, instrument_class: InstrumentClass, place: Place) -> Profile:
    """Return a profile that has to be of the entry's class."""
    found = find_profile(name, place.base)
    actual = found.instrument.instrument_class
    if actual is not instrument_class:
        raise ProfileError(
            f"The profile {name} is for another class, {actual}: {place.alias} is to be of class "
            f"{instrument_class}.",
            key="instrument.class",
        )
    return found


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
