"""The printed record, read back by pypdf."""

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from pypdf import PdfReader

from daq.errors import LogError
from daq.log.reader import LogReader
from procedures.record.collect import collect
from procedures.record.make import RecordFiles, write_record
from procedures.record.page import page_data
from tests.procedures.record.run_log import RunLog, instrument, write_reversed_width


def printed(log: RunLog) -> PdfReader:
    log.writer.close()
    return PdfReader(write_record(log.path, 1, log.path.parent).pdf)


def text_of(reader: PdfReader) -> str:
    """Return all text with runs of blanks made one and break opportunities taken out."""
    text = " ".join(page.extract_text() for page in reader.pages)
    return re.sub(r"\s+", " ", text.replace("\u200b", ""))


@dataclass(frozen=True)
class Whole:
    """A whole run: its files, the PDF as pypdf reads it, and the digest of its last row."""

    files: RecordFiles
    reader: PdfReader
    digest: str


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Whole:
    path = tmp_path_factory.mktemp("whole") / "tarnholt-16.tblog"
    with RunLog(path) as log:
        write_reversed_width(log)
    files = write_record(path, 1, path.parent)
    with LogReader(path) as reader:
        return Whole(files, PdfReader(files.pdf), reader.run(1).digest)


def test_files_are_named_for_log_and_run(whole: Whole) -> None:
    assert whole.files.pdf.name == "tarnholt-16-run-0001.pdf"
    assert whole.files.csv.name == "tarnholt-16-run-0001.csv"
    assert whole.files.csv.is_file()


def test_first_page_says_what_where_when_by_whom_and_how_it_ended(whole: Whole) -> None:
    first = re.sub(r"\s+", " ", whole.reader.pages[0].extract_text())
    for expected in (
        "Record of run 1",
        "Tarnholt aerodrome, runway 16, localizer ITN, 109.35 MHz, category II",
        "2027-01-15 08:00:00 UTC",
        "technician",
        "FINISHED 3 of 3 judged lines below end in tolerance.",
        "−0.1023 ± 0.0012",
        "0.1549 ± 0.0012",
        "150 Hz, 149.9 uA",
        "out of tolerance",
        "Whether the facility is fit for service is decided by the responsible authority",
    ):
        assert expected in first


def test_every_page_has_its_number_and_the_digest(whole: Whole) -> None:
    pages = whole.reader.pages
    assert len(pages) >= 3
    for number, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert whole.digest in text
        assert (round(page.mediabox.width), round(page.mediabox.height)) == (595, 842)  # ISO 216 A4


def test_the_file_is_dated_by_the_log_and_not_by_the_day_of_printing(whole: Whole) -> None:
    assert whole.reader.metadata is not None
    made = whole.reader.metadata.creation_date
    assert made is not None
    assert made.strftime("%Y-%m-%d %H:%M") == "2027-01-15 08:00"


def test_details_are_all_there(whole: Whole) -> None:
    text = text_of(whole.reader)
    for expected in (
        "Halvorsund NR2",
        "0417",
        "2.10",
        "2026-08-03",
        "0.970 m (38.2 in)",
        "0.965 m (38.0 in)",
        "It can kill.",
        "not possible: the CSB path has 0.900 m to spare",
        "common practice, no source",
        "Signatures",
        "Accepted for the facility by",
    ):
        assert expected in text


def test_type_is_embedded(whole: Whole) -> None:
    """A record that is read in twenty years must bring its type along."""
    descriptors = []
    for page in whole.reader.pages:
        for font in page["/Resources"]["/Font"].values():  # type: ignore[index]  # pypdf: any object
            (descendant,) = font.get_object()["/DescendantFonts"]
            descriptors.append(descendant.get_object()["/FontDescriptor"].get_object())
    assert len(descriptors) >= 3
    assert all(any(key.startswith("/FontFile") for key in found) for found in descriptors)


def test_the_same_log_prints_the_same_bytes(log: RunLog) -> None:
    write_reversed_width(log)
    log.writer.close()
    first = write_record(log.path, 1, log.path.parent).pdf.read_bytes()
    assert write_record(log.path, 1, log.path.parent).pdf.read_bytes() == first


def test_a_later_run_does_not_change_the_print_of_an_earlier_one(log: RunLog) -> None:
    write_reversed_width(log)
    first = write_record(log.path, 1, log.path.parent).pdf.read_bytes()
    log.run = log.journal.run = 2
    log.start()
    log.end()
    assert write_record(log.path, 1, log.path.parent).pdf.read_bytes() == first


def test_open_hazards_are_on_the_first_page(log: RunLog) -> None:
    log.start()
    log.end("aborted", "Stopped by the technician.", ["the quarter-wave line is in the SBO path"])
    first = re.sub(r"\s+", " ", printed(log).pages[0].extract_text())
    assert "BEFORE YOU SIGN" in first
    assert "STILL OPEN: the quarter-wave line is in the SBO path." in first
    assert "ABORTED Stopped by the technician." in first


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (7.0, "7 s later"),
        (125.0, "2 min 5 s later"),
        (3725.0, "1 h 2 min later"),
        (-60.0, "the calendar clock was set back meanwhile"),
    ],
)
def test_length_of_the_run_in_words(log: RunLog, seconds: float, said: str) -> None:
    log.start()
    log.clock.step_utc(seconds)
    log.end()
    log.writer.close()
    with LogReader(log.path) as reader:
        facts = page_data(collect(reader, 1))["facts"]
    assert isinstance(facts, list)
    assert facts[3][1].endswith(said)


def test_cut_off_run_says_so_on_the_first_page(log: RunLog) -> None:
    log.start()
    first = re.sub(r"\s+", " ", printed(log).pages[0].extract_text())
    assert "CUT OFF" in first
    assert "it was cut off, or it is still going on" in first
    assert "No measurement was averaged or judged in this run; it has 0 readings." in first


HOSTILE = (
    '"quoted" #panic("x") $x^2$ \\ *bold* _it_ @ref <label> `raw` [ ] // comment',
    '#{ while true {} } #import "/etc/passwd" #read("/etc/passwd")',
    "%PDF-1.7 {{ }} ${HOME} </svg><script>",
)


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_text_is_printed_as_text(log: RunLog, hostile: str) -> None:
    log.start(operator=hostile, instruments=[instrument(model=hostile, serial=hostile)])
    log.note("n", hostile, {"words": hostile, "items": [{"path": hostile}]})
    log.ask("a", "acknowledge", hostile, True, caution=hostile)
    log.measure("m", hostile, log.measured(0.155, point=hostile))
    after = log.measured(0.155, point=hostile)
    log.adjust("j", after, start=0.1, target=0.155, band=0.001, control=hostile, count=4)
    log.end("refused", hostile, [hostile])
    text = text_of(printed(log))
    assert text.count(hostile) >= 6


@pytest.mark.parametrize(
    "odd",
    ["x" * 30_000, "שלום עולם", "😀🛩️ 測定", "\x00\x07\x1b[31m\u202eabc", "a\nb\r\nc", "", "́́́́", " "],
    ids=["long", "rtl", "emoji", "control", "lines", "empty", "combining", "blank"],
)
def test_odd_text_does_not_stop_the_printing(log: RunLog, odd: str) -> None:
    log.start(operator=odd, station_path=odd, instruments=[instrument(serial=odd)])
    log.note("n", odd, {odd: odd, "list": [odd], "nested": {odd: {odd: 1}}})
    log.end("finished", odd, [odd])
    assert "Record of run 1" in printed(log).pages[0].extract_text()


def test_controls_are_printed_as_escapes(log: RunLog) -> None:
    log.start(operator="a\x07b\u202ec")
    log.ask("c", "acknowledge", "d\x1be", True)
    log.end()
    text = text_of(printed(log))
    assert "a\\x07b\\u202ec" in text
    assert "d\\x1be" in text


def test_right_to_left_text_keeps_its_letters(log: RunLog) -> None:
    log.start(operator="שלום")
    log.end()
    text = text_of(printed(log))
    assert "שלום" in text or "םולש" in text  # pypdf gives it in either order


def test_no_printed_record_without_its_folder(log: RunLog, tmp_path: Path) -> None:
    write_reversed_width(log)
    log.writer.close()
    with pytest.raises(LogError, match="No such file"):
        write_record(log.path, 1, tmp_path / "nowhere")
