"""Show what samples say about the modulation: one analysis, or a series over a long record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from daq.errors import LogError
from daq.reading import UA_PER_DDM, describe_ddm
from daq.rounding import decimals_for, fixed, with_doubt
from daq.samples.analyze import analyze_file
from daq.samples.model import Analysis, Estimate
from daq.samples.pair import Channels
from daq.samples.series import check_endings, plot_series, write_series
from daq.samples.stream import check_block, ddm_series
from procedures.commands.output import Output, show

Progress = Callable[[int, int | None], None]

_MOST_DDM_DECIMALS = 6
"""A DDM is never known better than that, whatever a clean record computes to."""

_EXPLAIN = (
    "Model: mean + 90 Hz + 150 Hz + their harmonics + ident and hum where they are there; all "
    "amplitudes, phases and frequencies fitted together by least squares.",
    "Depth = a tone's amplitude over the mean; DDM = depth of 150 Hz - depth of 90 Hz.",
    "A tone that is absent is no more than noise deep, and said so; where hum or another line "
    "stands in its place the record is refused. The third harmonic of 50 Hz mains is 150 Hz: a "
    "weak line there is said to be doubtful; one beside the tone shows in a long record only.",
    "Rows of some 5 ms in which an ident is switched, or that hold far more than noise, are left "
    "out; the uncertainties allow for what is lost.",
    "Uncertainties are standard uncertainties by first-order propagation (JCGM 100:2008, 5.2.2) "
    "of the noise found in the record; the instrument's own errors are not in them.",
)


@dataclass(frozen=True, slots=True)
class Record:
    """A file of samples, and what it does not say itself.

    Attributes
    ----------
    path
        The file.
    rate_hz
        Samples per second; None where the file says it.
    channels
        What two channels are; see `daq.samples.pair`.
    """

    path: Path
    rate_hz: float | None = None
    channels: Channels = ""


def check_series(block_s: float, series: Path | None, plot: Path | None) -> None:
    """Refuse, before any work is done, what the series could not be written as.

    Raises
    ------
    SamplesError
        The blocks are too short, or an ending is not known.
    LogError
        A folder is missing.
    """
    check_block(block_s)
    check_endings(series, plot)
    for path in (series, plot):
        if path is not None and not path.absolute().parent.is_dir():
            raise LogError(f"{path}: there is no such folder.", hint="make it, or name another.")


def show_file(record: Record, *, as_json: bool, explain: bool) -> None:
    """Analyse a recorded file and print what it says.

    Raises
    ------
    SamplesError
        It cannot be read or measured: where, why, and what to do.
    """
    with _progress(record.path.name, quiet=as_json) as progress:
        analysis = analyze_file(
            record.path, rate_hz=record.rate_hz, channels=record.channels, progress=progress
        )
    show_analysis(analysis, as_json=as_json, explain=explain)


def write_file_series(
    record: Record,
    *,
    block_s: float,
    series: Path | None,
    plot: Path | None,
    as_json: bool,
) -> None:
    """Analyse a recorded file block by block into a table and a picture.

    Raises
    ------
    SamplesError
        It cannot be read, or an ending is not known.
    LogError
        A file cannot be written.
    """
    path = record.path
    with _progress(path.name, quiet=as_json) as progress, _written(series or plot or path):
        rows = ddm_series(
            path,
            block_s=block_s,
            rate_hz=record.rate_hz,
            channels=record.channels,
            progress=progress,
        )
        if plot is None and series is not None:
            write_series(rows, series)
            return
        kept = list(rows)
        if series is not None:
            write_series(kept, series)
        if plot is not None:
            plot_series(kept, plot)


def show_analysis(analysis: Analysis, *, as_json: bool, explain: bool) -> None:
    """Print an analysis for people or programs."""
    show(
        Output(data=analysis.to_dict(), lines=_lines(analysis), explain=_EXPLAIN),
        as_json=as_json,
        explain=explain,
    )


def _lines(analysis: Analysis) -> list[tuple[str, str]]:
    ddm = analysis.ddm
    ua = ddm.value * UA_PER_DDM
    lines = [
        ("DDM", f"{describe_ddm(ddm.value)}, ± {_doubt(2 * ddm.u)} (k=2); {ua:+.2f} uA"),
        ("SDM", _percent(analysis.sdm)),
        ("depth 90 Hz", _percent(analysis.depth_90)),
        ("depth 150 Hz", _percent(analysis.depth_150)),
        *_tones(analysis),
        *_optional(analysis),
        ("record", f"{analysis.duration_s:.3f} s at {analysis.rate_hz:g} samples a second"),
    ]
    return [*lines, *(("note", warning) for warning in analysis.warnings)]


def _tones(analysis: Analysis) -> Iterator[tuple[str, str]]:
    """Say of each tone that is there where it is and how clean; of one that is not, nothing."""
    from daq.samples.cautions import stands_out

    has_90, has_150 = stands_out(analysis.depth_90), stands_out(analysis.depth_150)
    yield "tone 90", _said(analysis.tone_90_hz, "Hz", decimals=4) if has_90 else "not seen"
    yield "tone 150", _said(analysis.tone_150_hz, "Hz", decimals=4) if has_150 else "not seen"
    if has_90 and has_150:
        yield "tone phase", _said(analysis.tone_phase_deg, "deg of 150", decimals=2, plus=True)
    if has_90:
        yield "harmonics of 90", _percent(analysis.harmonics_90)
    if has_150:
        yield "harmonics of 150", _percent(analysis.harmonics_150)


def _said(estimate: Estimate, unit: str, *, decimals: int, plus: bool = False) -> str:
    said = with_doubt(estimate.value, 2 * estimate.u, decimals=decimals, plus=plus)
    return f"{said} {unit}"


def _optional(analysis: Analysis) -> Iterator[tuple[str, str]]:
    if analysis.ident_depth is not None and analysis.ident_hz is not None:
        text = f", sends '{analysis.ident_text}'" if analysis.ident_text else ""
        depth = _percent(analysis.ident_depth)
        yield "ident", f"{depth} at {analysis.ident_hz.value:.1f} Hz{text}"
    if analysis.hum_depth is not None and analysis.hum_hz is not None:
        yield "hum", f"{_percent(analysis.hum_depth)} at {analysis.hum_hz.value:.1f} Hz"
    if analysis.carrier_offset_hz is not None:
        yield "carrier", f"{analysis.carrier_offset_hz.value:+.1f} Hz from the centre of the band"
    if analysis.second_carrier_hz is not None and analysis.second_carrier_ratio is not None:
        ratio = analysis.second_carrier_ratio.value
        yield "second carrier", f"{analysis.second_carrier_hz.value:+.1f} Hz, {ratio:.4f} of it"


def _doubt(u_expanded: float) -> str:
    places = min(decimals_for(u_expanded), _MOST_DDM_DECIMALS) if u_expanded > 0.0 else 0
    doubt = fixed(u_expanded, places)
    return doubt if float(doubt) > 0.0 else f"less than {fixed(10.0**-_MOST_DDM_DECIMALS, 6)}"


def _percent(estimate: Estimate) -> str:
    return f"{with_doubt(100 * estimate.value, 200 * estimate.u, decimals=3)} % (k=2)"


@contextmanager
def _written(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise LogError(f"{path}: {error.strerror or error}.", hint="check the folder.") from error


@contextmanager
def _progress(name: str, *, quiet: bool) -> Iterator[Progress | None]:
    """Show a bar on a terminal; nothing when a program reads."""
    import sys

    if quiet or not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(name, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
