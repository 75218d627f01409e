"""From the words of a station file to an open instrument, or to what is wrong with them."""

from __future__ import annotations

import sys
import threading
from pathlib import Path

import pytest

from daq.clock import SystemClock
from daq.errors import LinkRefused, ProfileError
from daq.roles import InstrumentClass
from drivers.registry import find_profile, open_instrument, python_drivers, shipped_profiles

METADATA = "Metadata-Version: 2.1\nName: elsewhere-driver\nVersion: 1.0\n"
ENTRY_POINTS = """\
[trimbench.drivers]
elsewhere = elsewhere_driver:open_it
broken = elsewhere_driver_that_is_not_there:open_it
no-function = elsewhere_driver:NAME
"""
MODULE = """\
NAME = "no function"
class It:
    def __init__(self, instrument_class, place):
        self.alias = place.alias
        self.instrument_class = instrument_class
    def close(self):
        pass
def open_it(instrument_class, place):
    return It(instrument_class, place)
"""


@pytest.fixture
def elsewhere(tmp_path, monkeypatch):
    """A package of somebody else, installed from outside the tree."""
    info = tmp_path / "site" / "elsewhere_driver-1.0.dist-info"
    info.mkdir(parents=True)
    (info / "METADATA").write_text(METADATA)
    (info / "entry_points.txt").write_text(ENTRY_POINTS)
    (tmp_path / "site" / "elsewhere_driver.py").write_text(MODULE)
    monkeypatch.syspath_prepend(str(tmp_path / "site"))
    yield
    sys.modules.pop("elsewhere_driver", None)


def open_named(profile, instrument_class=InstrumentClass.POWER_METER, resource="TCPIP::x"):
    return open_instrument(
        "meter", instrument_class, profile, resource, clock=SystemClock(), base=Path("/bench")
    )


def test_the_profiles_of_the_demonstration_are_shipped():
    assert {"fernmark-os4", "halvorsund-nr2", "ostrel-pir7"} <= set(shipped_profiles())


def test_an_unknown_name_lists_the_known_ones_and_suggests_the_nearest():
    with pytest.raises(ProfileError, match=r"halvorsund-nr2.*did you mean 'fernmark-os4'"):
        open_named("fernmark-os-4")


def test_a_path_begins_at_the_station_file(tmp_path):
    source = Path(__file__).parents[2] / "drivers" / "profiles" / "ostrel-pir7.toml"
    (tmp_path / "mine.toml").write_text(source.read_text())
    assert find_profile("mine.toml", tmp_path) == find_profile("ostrel-pir7", tmp_path)
    with pytest.raises(ProfileError, match="no such file"):
        find_profile("folder/mine.toml", tmp_path)


def test_a_profile_of_another_class_is_refused():
    with pytest.raises(ProfileError, match="another class, oscilloscope"):
        open_named("fernmark-os4", InstrumentClass.NAVIGATION_RECEIVER)


def test_an_unreachable_instrument_is_refused_and_leaves_no_thread(serve):
    server = serve(lambda _: None)
    resource = server.resource
    server.close()
    with pytest.raises(LinkRefused, match=r"^meter \(TCPIP::127.*Nobody listens"):
        open_named("fernmark-os4", InstrumentClass.OSCILLOSCOPE, resource)
    assert not [one for one in threading.enumerate() if one.name.startswith("meter (")]


def test_a_python_driver_of_others_is_found_and_opened(elsewhere):
    opened = open_named("elsewhere")
    assert (opened.alias, opened.instrument_class) == ("meter", InstrumentClass.POWER_METER)


def test_a_broken_driver_is_listed_and_stops_nobody_until_it_is_asked_for(elsewhere):
    assert {"elsewhere", "broken", "no-function"} <= set(python_drivers())
    assert "elsewhere_driver" not in sys.modules
    with pytest.raises(ProfileError, match=r"broken .* cannot be loaded: ModuleNotFoundError"):
        open_named("broken")
    with pytest.raises(ProfileError, match="cannot be called"):
        open_named("no-function")
