"""A DDM series on disk: CSV, Parquet, or a picture."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, fields
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Final

from daq.errors import SamplesError
from daq.samples.stream import SeriesRow

if TYPE_CHECKING:
    import pandas as pd

SERIES: Final = (".csv", ".parquet")
PICTURES: Final = (".svg", ".png", ".pdf")
_ROWS_AT_ONCE: Final = 4096


def check_endings(series: Path | None, picture: Path | None) -> None:
    """Refuse a name whose ending says nothing that can be written; nothing is written here.

    Raises
    ------
    SamplesError
        One has another ending than `SERIES` or `PICTURES`.
    """
    for path, endings, what in ((series, SERIES, "series"), (picture, PICTURES, "picture")):
        if path is not None and path.suffix.lower() not in endings:
            raise SamplesError(
                f"{path.name}: a {what} is written as {', '.join(endings[:-1])} or {endings[-1]}.",
                hint="change the ending.",
            )


def write_series(rows: Iterable[SeriesRow], path: Path | str) -> int:
    """Write a series as ``.csv`` or ``.parquet``, by the ending, and return the number of rows.

    Columns are the attributes of `SeriesRow`; rows are taken as they come, so a series longer
    than memory can be written.

    Raises
    ------
    SamplesError
        If the ending is neither.
    """
    path = Path(path)
    check_endings(path, None)
    write = _write_csv if path.suffix.lower() == ".csv" else _write_parquet
    return write(rows, path)


def _tables(rows: Iterable[SeriesRow]) -> Iterator[pd.DataFrame]:
    """Yield the rows as tables of a few thousand; one empty table if there are none."""
    import pandas as pd

    names = [f.name for f in fields(SeriesRow)]
    source = iter(rows)
    part = list(islice(source, _ROWS_AT_ONCE))
    while True:
        yield pd.DataFrame([asdict(row) for row in part], columns=names)
        part = list(islice(source, _ROWS_AT_ONCE))
        if not part:
            return


def _write_csv(rows: Iterable[SeriesRow], path: Path) -> int:
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        for table in _tables(rows):
            table.to_csv(file, index=False, header=count == 0)
            count += len(table)
    return count


def _write_parquet(rows: Iterable[SeriesRow], path: Path) -> int:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema(
        [(f.name, pa.string() if f.name == "refused" else pa.float64()) for f in fields(SeriesRow)]
    )
    count = 0
    with pq.ParquetWriter(path, schema) as writer:
        for table in _tables(rows):
            writer.write_table(pa.Table.from_pandas(table, schema=schema, preserve_index=False))
            count += len(table)
    return count


def plot_series(rows: Sequence[SeriesRow], path: Path | str) -> None:
    """Draw DDM and SDM against time, with k=2 bands, as SVG, PNG or PDF by the ending of `path`.

    Refused blocks are gaps, marked along the bottom.

    Raises
    ------
    SamplesError
        If the ending is none of these.
    """
    check_endings(None, Path(path))
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9.0, 5.0), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True)
    t_s = [row.t_s for row in rows]
    for axes, name in ((above, "ddm"), (below, "sdm")):
        value = [getattr(row, name) for row in rows]
        wide = [2.0 * getattr(row, f"{name}_u") for row in rows]
        axes.fill_between(
            t_s,
            [v - w for v, w in zip(value, wide, strict=True)],
            [v + w for v, w in zip(value, wide, strict=True)],
            alpha=0.3,
            linewidth=0.0,
        )
        axes.plot(t_s, value, linewidth=1.0)
        axes.set_ylabel(name.upper())
        axes.grid(visible=True, alpha=0.3)
    above.set_title("150 Hz predominates above zero, 90 Hz below; band: k = 2", fontsize="medium")
    gaps = [row.t_s for row in rows if row.refused]
    if gaps:
        bottom = below.get_xaxis_transform()
        below.plot(gaps, [0.02] * len(gaps), "x", color="tab:red", transform=bottom)
    below.set_xlabel("time, s (x: block refused)" if gaps else "time, s")
    figure.savefig(path)
