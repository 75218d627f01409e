"""What the journal and the record hold of a drive: its rows as readings, its places, its report."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Final

from daq.reading import Quality, Reading
from daq.receiver_log import LogRow
from daq.station_ground import Positions
from daq.station_receiver_log import ReceiverLog
from procedures.engine.bench import Bench
from procedures.trims.drive_cells import Cell
from procedures.trims.drive_file import DriveRead
from procedures.trims.drive_places import Reduced

GAPS_SHOWN: Final = 12


@dataclass(frozen=True, slots=True)
class Rows:
    """Turns rows of a log into readings of the run."""

    bench: Bench
    point: str
    layout: ReceiverLog
    read: DriveRead

    def u(self, ddm: float) -> float:
        """Return the standard uncertainty of the receiver at a value."""
        return self.layout.u_ddm + self.layout.u_part * abs(ddm)

    def utc_ns(self, row: LogRow) -> int:
        """Return when a row was made; that of reading it where the log has no date."""
        return round(row.time_s * 1e9) if self.read.dated else self.bench.clock.utc_ns()

    def reading(self, row: LogRow) -> Reading:
        """Return a row as a reading; its monotonic time is that of reading the file."""
        log = self.read.files[0]
        return Reading(
            quantity="ddm",
            value=row.ddm,
            u=self.u(row.ddm),
            source=str(log),
            point=self.point,
            utc_ns=self.utc_ns(row),
            mono_ns=self.bench.clock.monotonic_ns(),
            quality=row.quality,
            raw=f"{log.name}:{row.line}: {row.raw}",
        )


def place_body(cell: Cell, rows: Rows) -> dict[str, object]:
    """Return a place as the journal holds it: where it is, and its reading."""
    last = [row for row in cell.rows if row.usable][-1]
    return {
        "along_m": cell.at.along_m,
        "lateral_m": cell.at.lateral_m,
        "value": cell.ddm,
        "u": math.hypot(cell.u_scatter, cell.u_smoothing, rows.u(cell.ddm)),
        "u_scatter": math.hypot(cell.u_scatter, cell.u_smoothing),
        "n": cell.n,
        "steady": True,
        "utc_ns": rows.utc_ns(last),
    }


def report(
    read: DriveRead, reduced: Reduced, positions: Positions, layout: ReceiverLog
) -> dict[str, object]:
    """Return what the record says of a drive."""
    cells = reduced.places.values()
    delay = asdict(reduced.delay)
    warnings = [*reduced.delay.warnings]
    frozen = sum(row.quality is Quality.FROZEN for row in read.drive.rows)
    if frozen:
        warnings.append(
            f"{frozen} rows hold a value that stands still where the receiver's noise would have "
            "moved it; they are left out as frozen"
        )
    if len(read.gaps) > GAPS_SHOWN:
        warnings.append(f"{len(read.gaps)} gaps; the first {GAPS_SHOWN} are listed")
    return {
        "source": str(read.files[0]),
        "short": read.files[0].short,
        "track": ", ".join(map(str, read.files[1:])),
        "rows": len(read.drive.rows),
        "rows_on_the_traverse": sum(row.usable for cell in cells for row in cell.rows),
        "rows_averaged": sum(cell.n for cell in cells),
        "rows_not_usable": sum(not row.usable for row in read.drive.rows),
        "rows_frozen": frozen if layout.floor else "not looked for: noise and resolution not given",
        "fixes_left_out": read.fixes_left_out,
        "gaps": [asdict(gap) for gap in read.gaps[:GAPS_SHOWN]],
        "unread": [{"from_deg": low, "to_deg": high} for low, high in reduced.unread_deg],
        **delay,
        "u_common_place_m": math.hypot(positions.common_u_m, reduced.u_common_place_m),
        "warnings": warnings,
    }
