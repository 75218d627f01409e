"""What a wide traverse says, kept for the record, told and judged sector by sector."""

from __future__ import annotations

import numpy as np

from procedures.engine.bench import Bench
from procedures.judge import Judgement, Result, Verdict
from procedures.steps.wide_traverse import Wide
from procedures.trims.clearance import INNER_EDGE_DEG


def keep_wide(bench: Bench, wide: Wide) -> None:
    """Keep the lowest points and what is not known, and say them."""
    check = wide.check
    bench.note(
        "clearance/lowest",
        "Clearance, lowest points",
        {
            "reached_90_side_deg": check.reached_deg[0],
            "reached_150_side_deg": check.reached_deg[1],
            "missing": list(check.missing),
            "sectors": [
                {
                    "side": f"{sector.side} Hz",
                    "from_deg": sector.from_deg,
                    "to_deg": sector.to_deg,
                    "lowest_ddm": sector.lowest_ddm,
                    "at_deg": sector.at_deg,
                    "readings": sector.points,
                }
                for sector in check.sectors
            ],
            "places": [
                {"azimuth_deg": float(angle), "reading_ddm": float(ddm)}
                for angle, ddm in zip(wide.traverse.position, wide.traverse.ddm, strict=True)
            ],
        },
    )
    for sector in check.sectors:
        bench.tell(
            f"{sector.side} Hz side, {sector.searched}: lowest "
            f"{sector.lowest_ddm:.3f} at {sector.at_deg:+.1f}°."
        )
    for words in check.missing:
        bench.tell(f"NOT KNOWN: {words}.")


def judge_wide(bench: Bench, wide: Wide) -> dict[str, Judgement]:
    """Judge the lowest point of each sector; returns by side and sector, such as ``90 inner``.

    A side on which the inner limit is reached nowhere within 10 degrees is judged by the most
    that it shows there. A sector that was not read as a whole may be out, and is never in: what
    was not read may be lower.
    """
    found: dict[str, Judgement] = {}
    for sector in wide.check.sectors:
        name = "inner" if sector.to_deg <= INNER_EDGE_DEG else "outer"
        row = wide.outer if name == "outer" else wide.inner
        point = _sector(sector.side, name)
        if sector.judgement.verdict is Verdict.IN_TOLERANCE and not wide.knows(sector):
            bench.tell(f"NOT JUDGED: {point}: what was read is in tolerance, but not all was read.")
            continue
        result = Result("clearance", sector.lowest_ddm, sector.judgement.u, point)
        found[f"{sector.side} {name}"] = bench.judge(
            f"clearance/{sector.side} {name}/verdict",
            f"{point}, lowest at {sector.at_deg:+.1f}°",
            result,
            row.limit(),
        )
    for side, sign in (("90", -1.0), ("150", 1.0)):
        if not any(one.side == side and one.reached_deg is not None for one in wide.check.sectors):
            found[f"{side} inner"] = _judge_most(bench, wide, side, sign)
    return found


def _judge_most(bench: Bench, wide: Wide, side: str, sign: float) -> Judgement:
    traverse = wide.traverse
    here = (traverse.position * sign > 0.0) & (np.abs(traverse.position) <= INNER_EDGE_DEG)
    ddm = np.where(here, sign * traverse.ddm, -np.inf)
    at = int(np.argmax(ddm))
    u = 0.0 if traverse.u_ddm is None else float(traverse.u_ddm[at])
    point = _sector(side, "inner")
    return bench.judge(
        f"clearance/{side} inner/verdict",
        f"{point}, the most is at {traverse.position[at]:+.1f}°",
        Result("clearance", float(ddm[at]), u, point),
        wide.inner.limit(),
    )


def _sector(side: str, name: str) -> str:
    return f"clearance, {side} Hz side, {name} sector"
