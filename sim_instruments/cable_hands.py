"""Hands on a feed cable: swept, measured for match and insulation, cut."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sim_instruments.arguments import Arguments
from sim_instruments.feeds import write_sweep
from sim_instruments.plant import Plant

VSWR_NOISE = 0.005
INSULATION_NOISE = 0.03


class CableHands:
    """What hands do with a cable of the plant, called by name: ``clearance sbo transmitter``.

    Parameters
    ----------
    plant
        Whose cables they are.
    rng
        Of the analyser's and the meters' errors.
    folder
        Where sweeps are saved.
    """

    def __init__(self, plant: Plant, rng: np.random.Generator, folder: Path) -> None:
        self._plant = plant
        self._rng = rng
        self.folder = folder

    def sweep(self, given: Arguments) -> dict[str, object]:
        """Sweep a cable from one end and save it; only the last part of a file's name counts."""
        name = _name(given)
        file = Path(str(given.get("file", ""))).name
        if not file:
            raise ValueError("a sweep is saved under a name")
        write_sweep(
            self.folder / file,
            self._plant.cable(*cable_of(name)),
            self._plant.given.frequency_hz,
            self._plant.given.feeds,
            self._rng,
            far_end=str(given.get("far_end", "open")),
            damaged=self._damaged(name),
        )
        return {"text": file}

    def match(self, given: Arguments) -> dict[str, object]:
        """Measure the standing wave ratio."""
        feeds = self._plant.given.feeds
        true = feeds.damaged_vswr if self._damaged(_name(given)) else feeds.vswr
        shown = true + VSWR_NOISE * float(self._rng.standard_normal())
        return {"measured": max(1.0, round(shown, 2))}

    def insulation(self, given: Arguments) -> dict[str, object]:
        """Measure the insulation, megohm, to three figures."""
        feeds = self._plant.given.feeds
        damaged = self._damaged(_name(given))
        true = feeds.damaged_insulation_megohm if damaged else feeds.insulation_megohm
        shown = true * (1 + INSULATION_NOISE * float(self._rng.standard_normal()))
        return {"measured": float(f"{max(shown, 0.0):.3g}")}

    def _damaged(self, name: str) -> bool:
        self._plant.cable(*cable_of(name))
        return name == self._plant.given.feeds.damaged


def cable_of(name: str) -> tuple[str, str]:
    """Return path and stage of a cable called ``clearance sbo transmitter``."""
    path, _, stage = name.rpartition(" ")
    return path, stage


def _name(given: Arguments) -> str:
    if "name" not in given:
        raise ValueError("'name' is missing")
    return str(given["name"])
