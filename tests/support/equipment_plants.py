"""Seeded plants for the equipment's procedures; invented, and worse than an installation shows."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping

import numpy as np

from daq.roles import Answer, Prompt
from tests.support.equipment import (
    Case,
    Judged,
    case,
    equipment_bench,
    seen_at,
    station_text,
    verdicts,
    without_tables,
)
from tests.support.in_process import InProcessBench

CANNOT_TELL = "cannot be taken apart"
"""The estimator's refusal of a record; the run says so and gives no verdict."""

CARRIERS = ("course", "clearance")
ALARMS = {
    "course shift, 150 Hz side": ("course_shift_ddm", 0.0070, 0.0145, 1.0),
    "course shift, 90 Hz side": ("course_shift_ddm", 0.0070, 0.0145, -1.0),
    "wide": ("width_wide_ddm", 0.1200, 0.1400, 1.0),
    "narrow": ("width_narrow_ddm", 0.1700, 0.1920, 1.0),
    "clearance": ("clearance_ddm", 0.1440, 0.1700, 1.0),
    "course power": ("power_percent", 70.0, 90.0, 0.01),
    "clearance power": ("power_percent", 70.0, 90.0, 0.01),
    "sum of depths, low": ("sdm_low", 0.345, 0.372, 1.0),
    "sum of depths, high": ("sdm_high", 0.428, 0.455, 1.0),
}
"""Alarm -> the plant's key, the range of its setting, and the factor to what is judged."""


def transmitter_plant(seed: int) -> dict[str, object]:
    """Two transmitters off in everything, about half of it beyond a limit."""
    rng = np.random.default_rng((seed, 41))

    def carrier() -> dict[str, object]:
        depth = float(rng.uniform(0.172, 0.228))
        return {
            "power_db": float(rng.uniform(-0.8, 0.8)),
            "depth_90": depth,
            "depth_150": depth + float(rng.uniform(-0.008, 0.008)),
            "carrier_error_hz": float(rng.uniform(-3000.0, 3000.0)),
            "tone_90_phase_deg": float(rng.uniform(-17.0, 17.0)),
            "tone_150_phase_deg": float(rng.uniform(-17.0, 17.0)),
        }

    def one() -> dict[str, object]:
        off = float(rng.uniform(-2.2, 2.2))
        return {
            "course": carrier(),
            "clearance": carrier(),
            "tone_90_error_percent": off,
            "tone_150_error_percent": off,
            "tone_phase_deg": float(rng.uniform(-32.0, 32.0)),
            "harmonic_percent": float(rng.uniform(0.0, 12.0)),
            "third_harmonic_percent": float(rng.uniform(0.0, 11.0)),
            "ident_depth": float(rng.uniform(0.03, 0.17)),
            "ident_dot_s": float(rng.uniform(0.08, 0.18)),
            "ident_repeat_s": float(rng.uniform(6.0, 13.0)),
            "ident_late_s": float(rng.uniform(0.0, 1.0)),
        }

    return {"seed": seed, "tx1": one(), "tx2": one()}


def transmitter_cases(seed: int) -> list[Case]:
    """Run the procedure on one seeded plant."""
    plant = transmitter_plant(seed)
    text = station_text(
        ("\n[transmitter]\nrecords = 4", "\n[transmitter]\nrecords = 1"),
        # The category in which everything that is measured has a limit.
        ('category = "II"', 'category = "III"'),
        # Strong carriers leave the range of the ordinary profile.
        *((_by(name, "scope"), _by(name, "scope for long records")) for name in CARRIERS),
    )
    with equipment_bench(plant, text=text) as made:
        end = made.run("transmitter")
        if CANNOT_TELL in end.message:
            return []
        assert end.result == "finished", end
        found = verdicts(made, end)
    return list(_transmitter_cases(plant, found))


def _by(carrier: str, instrument: str) -> str:
    return f'name = "{carrier} CSB detector"\nquantity = "ddm"\ninstrument = "{instrument}"'


def _transmitter_cases(plant: Mapping[str, object], found: Mapping[str, Judged]) -> list[Case]:
    cases: list[Case] = []
    for number in (1, 2):
        own = plant[f"tx{number}"]
        assert isinstance(own, Mapping)
        content = float(np.hypot(own["harmonic_percent"], own["third_harmonic_percent"])) / 100.0
        for name in CARRIERS:
            key, each = f"transmitter {number}/{name}", own[name]
            nominal_hz = 109.35e6 + (4750.0 if name == "course" else -4750.0)
            truths = {
                "frequency": each["carrier_error_hz"] / nominal_hz,
                "power": _power_db(each, own, name),
                "depth_90": each["depth_90"],
                "depth_150": each["depth_150"],
                "sdm": each["depth_90"] + each["depth_150"],
                "tone_90": 90.0 * (1.0 + own["tone_90_error_percent"] / 100.0),
                "tone_150": 150.0 * (1.0 + own["tone_150_error_percent"] / 100.0),
                "harmonics_90": content,
                "harmonics_150": content,
                "second_harmonic_90": own["harmonic_percent"] / 100.0,
                "tone_phase": _tone_phase_deg(each, own),
                "balance": each["depth_150"] - each["depth_90"],
            }
            cases += [case(w, found[f"{key}/{w}/verdict"], t) for w, t in truths.items()]
        key = f"transmitter {number}/identification"
        cases.append(case("ident depth", found[f"{key}/depth/verdict"], own["ident_depth"]))
        if f"{key}/dot/verdict" in found:
            cases.append(case("ident dot", found[f"{key}/dot/verdict"], own["ident_dot_s"]))
        if f"{key}/repetition/verdict" in found:
            often = 60.0 / own["ident_repeat_s"]
            cases.append(case("ident repetition", found[f"{key}/repetition/verdict"], often))
        if f"{key}/intervals/verdict" in found:
            unequal = 2.0 * own["ident_late_s"] / own["ident_repeat_s"]
            cases.append(case("ident intervals", found[f"{key}/intervals/verdict"], unequal))
        for tone in (90, 150):
            course, clearance = (own[name][f"tone_{tone}_phase_deg"] for name in CARRIERS)
            judged = found[f"transmitter {number}/carriers/tone_phase_{tone}/verdict"]
            cases.append(case(f"{tone} Hz between carriers", judged, clearance - course))
        separation = (
            9500.0 + own["course"]["carrier_error_hz"] - own["clearance"]["carrier_error_hz"]
        )
        judged = found[f"transmitter {number}/separation/verdict"]
        cases.append(case("separation", judged, separation))
    return cases


def _tone_phase_deg(each: Mapping[str, float], own: Mapping[str, float]) -> float:
    """Return the phase of 150 Hz where 90 Hz passes zero upward: there it has gone 5/3 as far."""
    at_zero = each["tone_150_phase_deg"] - 5.0 / 3.0 * each["tone_90_phase_deg"]
    return float((own["tone_phase_deg"] + at_zero + 60.0) % 120.0 - 60.0)


def _power_db(each: Mapping[str, float], own: Mapping[str, float], name: str) -> float:
    """Return the power over what the station calls normal: carrier and sidebands (AM theory)."""
    nominal_w, normal_w = (15.0, 15.6) if name == "course" else (6.0, 6.24)
    depths = each["depth_90"] ** 2 + each["depth_150"] ** 2 + own["ident_depth"] ** 2
    power_w = nominal_w * 10 ** (each["power_db"] / 10.0) * (1.0 + depths / 2.0)
    return float(10.0 * np.log10(power_w / normal_w))


def alarm_cases(seed: int, *, entries: int = 2) -> list[Case]:
    """Run the procedure with a few of the alarms on one seeded plant."""
    rng = np.random.default_rng((seed, 42))
    names = [str(name) for name in rng.choice(list(ALARMS), size=entries, replace=False)]
    settings = {key: float(rng.uniform(low, high)) for key, low, high, _ in ALARMS.values()}
    # Of two alarms on one key the later one counts for both.
    settings["delay_s"] = float(rng.uniform(0.3, 7.5))
    text = station_text()
    drop = [f'[[alarms.entries]]\nname = "{name}"\n' for name in ALARMS if name not in names]
    text = without_tables(text, *drop)
    with equipment_bench({"seed": seed, "alarms": settings}, text=text) as made:
        end = made.run("alarms")
        assert end.result == "finished", end
        found = verdicts(made, end)
    cases = []
    for name in names:
        key, _, _, factor = ALARMS[name]
        cases.append(case(name, found[f"alarm/{name}/point/verdict"], factor * settings[key]))
        if (timed := found.get(f"alarm/{name}/time/verdict")) is not None:
            cases.append(case("time to alarm", timed, settings["delay_s"]))
    return cases


def routine_cases(seed: int) -> list[Case]:
    """Run the routine on a plant that has drifted; as found against what was there."""
    rng = np.random.default_rng((seed, 44))
    drifted = {
        "seed": seed,
        "width_ratio": float(rng.uniform(0.85, 1.15)),
        "alignment_ddm": float(rng.uniform(-0.02, 0.02)),
        "if_level_spread": float(rng.uniform(0.0, 0.8)),
        "tx1": {"course": {"power_db": float(rng.uniform(-0.9, 0.9))}},
    }
    with equipment_bench(drifted) as made:
        plant = made.sim.plant
        truths = {
            name: seen_at(plant, name).ddm
            for name in ("course line", "course width", "clearance 90", "clearance 150")
        }
        truths["course CSB power"] = plant.power_w("course CSB")
        levels = ("course line IF", "course width IF", "clearance 90 IF", "clearance 150 IF")
        for name in levels:
            # A long record: its extremes are those of the signal, and a little of the noise.
            truths[name] = float(np.ptp(plant.volts(name, 0.0, 200_000.0, 20_000))) - 0.006
        end = made.run("routine")
        assert end.result in ("finished", "refused"), end
        found = verdicts(made, end)
    return [case(n, found[f"routine/{n}/as found/verdict"], t) for n, t in truths.items()]


def flight_cases(seed: int) -> list[Case]:
    """Run some of the profiles on one seeded plant; what is held for the flight is the case.

    The truth is what an ideal receiver sees while the profile is held, against the band in which
    it was set; a receiver's own error is not part of the setting and is allowed for.
    """
    rng = np.random.default_rng((seed, 43))
    names = [str(name) for name in rng.choice(list(PROFILES), size=3, replace=False)]
    drop = [f'[[flight_profiles]]\nname = "{name}"\n' for name in PROFILES if name not in names]
    given = {
        "seed": seed,
        "width_ratio": float(rng.uniform(0.97, 1.03)),
        "alignment_ddm": float(rng.uniform(-0.002, 0.002)),
        "tx1": {"course": {"power_db": float(rng.uniform(-0.3, 0.3))}},
    }
    text = without_tables(station_text(), *drop)
    with equipment_bench(given, text=text) as made:
        held = AtHold(made)
        start = {name: made.sim.plant.position(name) for name in made.sim.plant.control_names}
        end = made.run("flight-profiles", held)
        assert end.result == "finished", end
        found = verdicts(made, end)
        moved = {
            name: made.sim.plant.position(name) - before
            for name, before in start.items()
            if abs(made.sim.plant.position(name) - before) > 0.02
        }
    assert moved == {}, moved
    cases = []
    for name in names:
        last = [k for k in found if re.fullmatch(rf"profile/{name}/set 1/verdict \d", k)][-1]
        judged = found[last]
        # The receiver's own limits of error widen the band in which the truth may lie.
        low, high = (judged.low or 0.0) - 2 * judged.u, (judged.high or 0.0) + 2 * judged.u
        wide = dataclasses.replace(judged, low=low, high=high)
        cases.append(case(f"profile {name}", wide, held.truth[name]))
    return cases


PROFILES = {
    "wide": "course width",
    "narrow": "course width",
    "shifted to the 150 Hz side": "course line",
    "shifted to the 90 Hz side": "course line",
    "low power": "course CSB power",
}
"""Profile -> its first point."""


class AtHold:
    """The simulated technician, who notes the plant's truth while a profile is held."""

    def __init__(self, made: InProcessBench) -> None:
        self._made = made
        self._inner = made.technician(made.writer.next_run())
        self.name = self._inner.name
        self.truth: dict[str, float] = {}
        self.watching = self._inner.watching
        self.tell = self._inner.tell

    def answer(self, prompt: Prompt) -> Answer:
        found = re.fullmatch(r"profile/(.+)/hold", prompt.key)
        if found and (point := PROFILES.get(found[1])):
            plant = self._made.sim.plant
            power = point.endswith("power")
            self.truth[found[1]] = (
                plant.power_w("course CSB") if power else seen_at(plant, point).ddm
            )
        return self._inner.answer(prompt)
