"""Hands at the plant: the physical acts of a technician, each done once.

Every act carries an identity chosen by whoever asks for it. The plant's side remembers what it
did under each identity, so that a client that was killed and asks again does not cut twice: it is
told how the first cut went.

Verbs: ``connect receiver`` (point), ``connect probe`` (point, channel), ``connect power meter`` and
``connect counter`` (point), ``connect analyzer`` (point, or ``antenna``), ``carry receiver`` (a
place), ``drive receiver`` (a line or a circle, and what may be left out; `drive_hands`), ``insert
line`` (path, stage), ``remove line`` (path, stage), ``cut`` (path, stage, length_m), ``centre
control`` (control), ``turn control`` (control and one of change_db, change_deg, change_ddm),
``turn`` (control, by: part of the range), ``restore control`` (control), ``select transmitter``
(number), ``switch carrier`` (carrier: course or clearance; state: on or off), ``switch tone``
(tone: 90 or 150; state: on or off), ``key ident`` (mode: code, continuous or off); and to look
without touching: ``position`` (control), ``controls``, ``truth``, ``field`` (a place: its DDM, SDM
and carriers without noise), ``name track`` (file: a log; the track beside it).

A place is ``along_m`` and ``lateral_m``, or ``radius_m`` and ``azimuth_deg``, or ``east_m`` and
``north_m`` from the middle of the array; what is left out of a pair is zero (`geometry`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Final, Protocol

import numpy as np

from sim_instruments.arguments import Arguments, number, word
from sim_instruments.cable_hands import CableHands, cable_of
from sim_instruments.clock import Clock, SystemClock
from sim_instruments.connections import ANTENNA, Connections, Meter
from sim_instruments.controls import Turned
from sim_instruments.drive_hands import DriveHands, track_of
from sim_instruments.geometry import Position, Site
from sim_instruments.hands_help import check_complete, help_lines, not_a_verb
from sim_instruments.plant import Plant

Outcome = dict[str, object]

CUT_ERROR_M: Final = 0.001
CUT_ERROR_LIMIT_M: Final = 0.003
MEASURING_ERROR_M: Final = 0.0005
_POINTS_HELP: Final = "`help connect` names the points"
PLACES: Final = (("along_m", "lateral_m"), ("radius_m", "azimuth_deg"), ("east_m", "north_m"))


class HandsError(Exception):
    """An act that cannot be done, and why."""


class HandsPort(Protocol):
    """Whatever carries acts to the plant: in the same process or over a link."""

    def do(self, verb: str, arguments: Arguments, act: str = "") -> Outcome:
        """Do an act once; raises `HandsError` when it cannot be done."""


class Hands:
    """Hands in the plant's own process.

    Parameters
    ----------
    plant, connections
        What they touch.
    seed
        Of the errors that they make when cutting and measuring.
    folder
        Where they save what they measure; the current folder by default.
    clock
        Whose time is in what they save; the machine's own by default.
    """

    def __init__(
        self,
        plant: Plant,
        connections: Connections,
        *,
        seed: int = 0,
        folder: Path | None = None,
        clock: Clock | None = None,
    ) -> None:
        self._plant = plant
        self._connections = connections
        self._rng = np.random.default_rng(seed)
        self.cables = CableHands(plant, self._rng, folder or Path())
        self._wheel = DriveHands(plant, clock or SystemClock(), self._rng)
        self._lock = threading.Lock()
        self._done: dict[str, Outcome] = {}
        self._looks: dict[str, Callable[[Arguments], Outcome]] = {
            "position": lambda given: {"position": plant.position(word(given, "control"))},
            "controls": lambda _given: {"controls": list(plant.control_names)},
            "truth": lambda _given: asdict(plant.truth()),
            "field": self._field,
            "name track": lambda given: {"text": track_of(word(given, "file"))},
        }
        self._acts: dict[str, Callable[[Arguments], Outcome]] = {
            "connect receiver": self._connect_receiver,
            "connect probe": self._connect_probe,
            "connect power meter": lambda given: self._connect_meter("power meter", given),
            "connect counter": lambda given: self._connect_meter("counter", given),
            "connect analyzer": self._connect_analyzer,
            "carry receiver": self._carry_receiver,
            "drive receiver": lambda given: self._wheel.drive(given, self.cables.folder),
            "sweep cable": self.cables.sweep,
            "measure match": self.cables.match,
            "measure insulation": self.cables.insulation,
            "cut cable": self._cut_cable,
            "insert line": self._insert_line,
            "remove line": self._remove_line,
            "cut": self._cut,
            "centre control": lambda given: _felt(plant.place(word(given, "control"), 0.5)),
            "restore control": lambda given: _felt(plant.restore(word(given, "control"))),
            "turn control": self._turn_by_effect,
            "turn": lambda given: _felt(plant.turn(word(given, "control"), number(given, "by"))),
            "select transmitter": self._select_transmitter,
            "switch carrier": self._switch_carrier,
            "switch tone": self._switch_tone,
            "key ident": self._key_ident,
        }

    def do(self, verb: str, arguments: Arguments, act: str = "") -> Outcome:
        """Do an act, or look; an act whose identity was done before is not done again.

        ``help``, alone or with a verb behind it, gives ``lines`` for a person.

        Raises
        ------
        HandsError
            No such verb, point, cable or control, an argument is missing, or a cut is too long.
        """
        if verb.partition(" ")[0] == "help":
            return self._help(verb.partition(" ")[2])
        with self._lock:
            if act and act in self._done:
                return self._done[act]
            way = self._looks.get(verb) or self._acts.get(verb)
            if way is None:
                raise HandsError(not_a_verb(verb, [*self._acts, *self._looks]))
            try:
                check_complete(verb, arguments)
                outcome = way(arguments)
            except ValueError as error:
                raise HandsError(f"{verb}: {error}") from error
            if act and verb in self._acts:
                self._done[act] = outcome
            return outcome

    def _help(self, about: str) -> Outcome:
        try:
            return {"lines": help_lines(about, self._plant)}
        except ValueError as error:
            raise HandsError(str(error)) from error

    def _connect_receiver(self, given: Arguments) -> Outcome:
        point = word(given, "point")
        if not self._plant.can_receive(point):
            raise ValueError(f"a receiver cannot be connected to {point!r}; {_POINTS_HELP}")
        self._connections.connect_receiver(point)
        return {}

    def _connect_probe(self, given: Arguments) -> Outcome:
        point = word(given, "point")
        if not self._plant.can_probe(point):
            raise ValueError(f"a probe cannot be connected to {point!r}; {_POINTS_HELP}")
        self._connections.connect_probe(round(number(given, "channel")), point)
        return {}

    def _connect_meter(self, meter: Meter, given: Arguments) -> Outcome:
        point = word(given, "point")
        if not self._plant.can_meter(point):
            raise ValueError(f"a {meter} cannot be connected to {point!r}; {_POINTS_HELP}")
        self._connections.connect_meter(meter, point)
        return {}

    def _connect_analyzer(self, given: Arguments) -> Outcome:
        point = word(given, "point")
        if point != ANTENNA and not self._plant.can_receive(point):
            raise ValueError(f"an analyzer cannot be connected to {point!r}; {_POINTS_HELP}")
        self._connections.connect_meter("analyzer", point)
        return {}

    def _carry_receiver(self, given: Arguments) -> Outcome:
        """Carry it about as far as was asked; the position receiver knows where it really is."""
        asked = place_of(given, self._plant.given.site)
        error_m = self._plant.given.position_error_m * self._rng.standard_normal(2)
        there = Position(asked.along_m + error_m[0], asked.lateral_m + error_m[1])
        if not self._plant.can_receive(there):
            raise ValueError("a receiver is not carried in among the elements")
        self._connections.carry_receiver(there)
        return {"along_m": asked.along_m, "lateral_m": asked.lateral_m}

    def _field(self, given: Arguments) -> Outcome:
        return asdict(self._plant.field_truth(place_of(given, self._plant.given.site)))

    def _select_transmitter(self, given: Arguments) -> Outcome:
        self._plant.select_transmitter(round(number(given, "number")))
        return {}

    def _switch_carrier(self, given: Arguments) -> Outcome:
        self._plant.switch_carrier(word(given, "carrier"), on=_switched_on(given, "carrier"))
        return {}

    def _switch_tone(self, given: Arguments) -> Outcome:
        self._plant.switch_tone(round(number(given, "tone")), on=_switched_on(given, "tone"))
        return {}

    def _key_ident(self, given: Arguments) -> Outcome:
        self._plant.key_ident(word(given, "mode"))
        return {}

    def _insert_line(self, given: Arguments) -> Outcome:
        self._plant.insert_line(*_cable(given))
        return {}

    def _remove_line(self, given: Arguments) -> Outcome:
        self._plant.remove_line(*_cable(given))
        return {}

    def _cut(self, given: Arguments) -> Outcome:
        """Cut about as much as was asked; `measured_m` is what the tape says of the piece."""
        asked_m = number(given, "length_m")
        limit_m = min(CUT_ERROR_LIMIT_M, max(0.0, asked_m))
        error_m = float(np.clip(CUT_ERROR_M * self._rng.standard_normal(), -limit_m, limit_m))
        self._plant.cut(*_cable(given), asked_m + error_m)
        tape_m = float(np.clip(self._rng.standard_normal(), -3, 3)) * MEASURING_ERROR_M
        return {"measured_m": max(0.0, round(asked_m + error_m + tape_m, 4))}

    def _cut_cable(self, given: Arguments) -> Outcome:
        path, stage = cable_of(word(given, "name"))
        return self._cut({**given, "path": path, "stage": stage})

    def _turn_by_effect(self, given: Arguments) -> Outcome:
        control = word(given, "control")
        known = ("change_db", "change_deg", "change_ddm")
        changes = {key: number(given, key) for key in known if key in given}
        return _felt(self._plant.turn(control, self._plant.fraction_for(control, **changes)))


def _felt(turned: Turned) -> Outcome:
    return {"position": turned.position, "at_stop": turned.at_stop}


def _switched_on(given: Arguments, what: str) -> bool:
    state = word(given, "state")
    if state not in ("on", "off"):
        raise ValueError(f"a {what} is switched on or off, not {state!r}")
    return state == "on"


def _cable(given: Arguments) -> tuple[str, str]:
    return word(given, "path"), word(given, "stage")


def place_of(given: Arguments, site: Site) -> Position:
    """Return the place that `given` names in one of the three ways of `PLACES`.

    Raises
    ------
    ValueError
        In none of them, or in several.
    """
    named = [pair for pair in PLACES if pair[0] in given or pair[1] in given]
    if len(named) != 1:
        ways = ", or ".join(" and ".join(pair) for pair in PLACES)
        raise ValueError(f"a place is {ways}")
    first, second = (number(given, key) if key in given else 0.0 for key in named[0])
    if named[0] == PLACES[0]:
        return Position(first, second)
    return (
        Position.at_azimuth(first, second)
        if named[0] == PLACES[1]
        else site.position(first, second)
    )
