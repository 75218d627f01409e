"""The whole simulated bench: plant, instruments, hands, and the links they are served on."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType, TracebackType
from typing import Final, Protocol, Self

from sim_instruments.ageing import aged
from sim_instruments.alarm_unit import HalvorsundMa3
from sim_instruments.clock import Clock, SystemClock
from sim_instruments.connections import Connections
from sim_instruments.fault_desk import FaultDesk, panel_for
from sim_instruments.fault_panel import FaultPanel
from sim_instruments.faulty_session import FaultySession
from sim_instruments.hands import Hands
from sim_instruments.hands_link import HandsSession
from sim_instruments.meters import BrunnhallPw2, VesterloFc6
from sim_instruments.more_receivers import DunholtPr3, SkarvoyLr1, VelmarkDr20
from sim_instruments.multimeter import TorvstadDm6
from sim_instruments.oscilloscope import FernmarkOs4
from sim_instruments.parameters import PlantParameters
from sim_instruments.plant import Plant
from sim_instruments.position_receiver import NavelinGp5
from sim_instruments.receivers import HalvorsundNr2, OstrelPir7
from sim_instruments.serving import Server, serve_at
from sim_instruments.sessions import Session
from sim_instruments.spectrum_analyzer import OstrelSa4
from sim_instruments.tcp_server import TcpServer

DEFAULT_PROBES: Final = MappingProxyType(
    {1: "course line IF", 2: "course width IF", 3: "clearance 90 IF", 4: "phase detector"}
)


class Device(Protocol):
    """A simulated instrument."""

    def session(self) -> Session:
        """Return a new client's line."""


MODELS: Final[Mapping[str, Callable[[Plant, Connections, Clock], Device]]] = MappingProxyType(
    {
        "fernmark-os4": FernmarkOs4,
        "halvorsund-nr2": HalvorsundNr2,
        "ostrel-pir7": OstrelPir7,
        "brunnhall-pw2": BrunnhallPw2,
        "vesterlo-fc6": VesterloFc6,
        "ostrel-sa4": OstrelSa4,
        "navelin-gp5": NavelinGp5,
        "halvorsund-ma3": HalvorsundMa3,
        "torvstad-dm6": TorvstadDm6,
        "torvstad-dm6-firmware-1": TorvstadDm6.hasty,
        "skarvoy-lr1": SkarvoyLr1,
        "velmark-dr20": VelmarkDr20,
        "dunholt-pr3": DunholtPr3,
    }
)

ANOTHER_WAY: Final = MappingProxyType({"fernmark-os4-detector": "fernmark-os4"})
"""What a station file calls an instrument that it uses in a second way -> its model."""


class SimulatedBench:
    """Plant, one instrument of each model, and hands.

    Parameters
    ----------
    table
        A station file's ``[simulation.plant]`` table.
    clock
        Time of the plant; instruments wait on it. A clock that a study moves makes it fast.
    receiver, probes
        What is connected at the start.
    years
        After commissioning; see `ageing.aged`, whose seed is the plant's.

    Raises
    ------
    ValueError
        The table has a key or value that the plant does not know, or `years` is out of range.
    """

    def __init__(
        self,
        table: Mapping[str, object],
        clock: Clock | None = None,
        *,
        receiver: str = "course line",
        probes: Mapping[int, str] | None = None,
        years: float = 0.0,
    ) -> None:
        self.clock: Clock = clock or SystemClock()
        given = PlantParameters.from_table(table)
        if years:
            given = aged(given, years, given.seed)
        self.plant = Plant(given, self.clock)
        self.connections = Connections(receiver, DEFAULT_PROBES if probes is None else probes)
        self.hands = Hands(self.plant, self.connections, seed=given.seed, clock=self.clock)
        self._devices = {
            model: make(self.plant, self.connections, self.clock) for model, make in MODELS.items()
        }

    def device(self, model: str) -> Device:
        """Return the instrument of that model; ValueError when none is simulated."""
        model = ANOTHER_WAY.get(model, model)
        if model not in self._devices:
            known = ", ".join(self._devices)
            raise ValueError(f"no simulated instrument {model!r}; there are {known}")
        return self._devices[model]

    def serve(
        self,
        instruments: Iterable[tuple[str, str]],
        *,
        folder: Path | None = None,
        hands_port: int | None = 0,
    ) -> ServedBench:
        """Open a link for each instrument, and the hands' port.

        Parameters
        ----------
        instruments
            Model and VISA resource of each; see `serving.serve_at`.
        folder
            What relative paths are relative to, and where hands save what they measure; the
            current folder by default.
        hands_port
            Loopback port for hands; 0 for any, None for none.

        Raises
        ------
        ValueError
            A model that is not simulated, or a resource of another kind.
        OSError
            An address or path is taken.
        """
        served = ServedBench(self.clock)
        self.hands.cables.folder = folder or Path()
        try:
            for model, resource in instruments:
                served.open(model, self.device(model), resource, folder or Path())
            if hands_port is not None:
                served.open_hands(self.hands, hands_port)
        except BaseException:
            served.close()
            raise
        return served


class ServedBench:
    """The open links of a bench; a context manager that closes them.

    Attributes
    ----------
    resources
        For each resource asked for, the one to connect to: ports chosen, paths absolute.
    hands_address
        Host and port of the hands, or None.
    panels
        Where faults of each served instrument are armed, by its model.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.resources: dict[str, str] = {}
        self.hands_address: tuple[str, int] | None = None
        self.servers: dict[str, Server] = {}
        self.panels: dict[str, FaultPanel] = {}

    def open(self, model: str, device: Device, resource: str, folder: Path) -> None:
        """Serve `device` at `resource`; see `SimulatedBench.serve`."""
        panel = self.panels.setdefault(model, panel_for(device, self._clock))
        link = serve_at(resource, lambda: FaultySession(device.session(), panel), folder)
        self.servers[resource] = link.server
        self.resources[resource] = link.resource

    def open_hands(self, hands: Hands, port: int) -> None:
        """Serve hands, and faults, on a loopback port."""
        desk = FaultDesk(hands, self.panels)
        server = TcpServer(lambda: HandsSession(desk), port=port)
        self.servers["hands"] = server
        self.hands_address = server.address

    def close(self) -> None:
        """Close every link; harmless when repeated."""
        for panel in self.panels.values():
            panel.release()
        for server in self.servers.values():
            server.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
