import json
import math
from dataclasses import replace

import numpy as np

from daq.samples.analyze import analyze_samples
from daq.samples.model import ESTIMATES, Analysis, Estimate
from tests.daq.samples.synthetic import Truth, record


def test_the_json_object_has_a_value_and_an_uncertainty_for_every_estimate() -> None:
    a = analyze_samples(record(Truth(), np.random.default_rng(1)), 48_000.0)
    flat = json.loads(json.dumps(a.to_dict(), allow_nan=False))
    for name in ("ddm", "sdm", "depth_90", "depth_150", "tone_90_hz", "tone_150_hz"):
        assert isinstance(flat[name], float)
        assert flat[f"{name}_u"] > 0.0
    assert flat["ddm"] == a.ddm.value
    assert flat["ident_depth"] is None
    assert flat["warnings"] == []
    assert {"tone_phase_deg", "ddm_u", "samples", "duration_s"} <= flat.keys()


def test_no_estimate_is_forgotten_in_the_list() -> None:
    hints = {name: kind for name, kind in Analysis.__annotations__.items() if "Estimate" in kind}
    assert set(hints) == set(ESTIMATES)


def test_what_json_cannot_say_becomes_null() -> None:
    a = analyze_samples(record(Truth(), np.random.default_rng(1)), 48_000.0)
    flat = replace(a, sdm=Estimate(math.nan, math.inf)).to_dict()
    assert flat["sdm"] is None
    assert flat["sdm_u"] is None
