"""The live page's speed: logged to pixel with five screens open, and what the server costs.

`make bench` prints the table. No number of a clock is asserted: machines differ, and other
programs run on them. The soak (``-m study``) compresses an hour of readings into minutes and
asserts that memory stays flat.
"""

from __future__ import annotations

import gc
import json
import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from daq.clock import SystemClock
from daq.journal import Journal
from daq.log.writer import LogWriter
from daq.reading import Reading
from daq.roles import Answer, Prompt, WatchCommand, WatchView
from daq.station import load_station
from daq.steadiness import Watch
from procedures.engine.watch_view import view_of
from procedures.page.server import LivePage, PageOptions
from tests.procedures.page.browser.conftest import ARGUMENTS, CHROMIUM
from tests.procedures.page.conftest import STATION

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

SCREENS = 5
RATE_HZ = 20.0
SOAK_READINGS = 72_000  # an hour at 20 a second

# Rows are noted as they reach the page. The page numbers what it has drawn; the task after the
# frame's callback runs once it is painted.
OBSERVE = """
window.painted = [];
window.reached = [];
const listen = EventSource.prototype.addEventListener;
EventSource.prototype.addEventListener = function (name, heard) {
  listen.call(this, name, (event) => {
    const at = performance.timeOrigin + performance.now();
    if (name === "row") window.reached.push([Number(event.lastEventId), at]);
    heard(event);
  });
};
addEventListener("DOMContentLoaded", () => {
  const channel = new MessageChannel();
  const waiting = [];
  const now = () => performance.timeOrigin + performance.now();
  channel.port1.onmessage = () => window.painted.push([waiting.shift(), now()]);
  new MutationObserver(() => {
    waiting.push(Number(document.querySelector("#meter").dataset.seq));
    channel.port2.postMessage(0);
  }).observe(document.querySelector("#meter"), { attributeFilter: ["data-seq"] });
});
"""


class Nobody:
    """An operator who looks and does nothing."""

    name = "nobody"

    def answer(self, prompt: Prompt) -> Answer:
        return True

    def watching(self, view: WatchView) -> WatchCommand:
        return "go on"

    def tell(self, text: str) -> None:
        return


@dataclass
class Feed:
    """Readings at a rate, each logged and then shown, with the time at which it was on disk.

    Without `watched` nothing is told to the page: it finds the rows in the log, as while a
    procedure measures.
    """

    page: LivePage
    writer: LogWriter
    watched: bool = True
    logged_ms: dict[int, float] = field(default_factory=dict)
    taken_ms: dict[int, float] = field(default_factory=dict)
    stopped: threading.Event = field(default_factory=threading.Event)

    def run(self, rate_hz: float, count: int) -> None:
        clock, journal = SystemClock(), Journal(self.writer, 1)
        shown = self.page.shown(Nobody(), acts=False)
        watch = Watch(target=0.155, settle=0.0005)
        begin_ns = clock.monotonic_ns()
        for n in range(count):
            if self.stopped.is_set():
                return
            clock.sleep((begin_ns + n * 1e9 / rate_hz - clock.monotonic_ns()) / 1e9)
            value = 0.155 + 0.02 * float(np.sin(n / 37.0))
            now = clock.utc_ns(), clock.monotonic_ns()
            reading = Reading("ddm", value, 0.0003, "receiver", "course width", *now)
            entry = journal.reading("bench", reading)
            self.logged_ms[entry.seq] = clock.utc_ns() / 1e6
            self.taken_ms[entry.seq] = reading.utc_ns / 1e6
            watch.add(reading)
            if not self.watched:
                continue
            shown.watching(
                view_of(watch, reading, key="b", instruction="Turn it.", control="c", band=0.001)
            )


@contextmanager
def feeding(folder: Path, rate_hz: float, count: int, *, watched: bool = True) -> Iterator[Feed]:
    """Serve a page and feed it in a thread."""
    path = folder / "tarnholt-16.toml"
    path.write_text(STATION.read_text(encoding="utf-8"), encoding="utf-8")
    station, clock = load_station(path), SystemClock()
    with (
        LogWriter(station.log_path, clock) as writer,
        LivePage(station, 1, clock, PageOptions(port=0)) as page,
    ):
        feed = Feed(page, writer, watched)
        thread = threading.Thread(target=feed.run, args=(rate_hz, count), daemon=True)
        thread.start()
        yield feed
        feed.stopped.set()
        thread.join()


@pytest.fixture
def browser() -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("chromium is not installed: THE LIVE PAGE IS NOT TIMED IN A BROWSER")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))


def open_screens(browser: Browser, url: str, count: int) -> list[Page]:
    pages = []
    for number in range(count):
        size = {"width": 360, "height": 740} if number % 2 == 0 else {"width": 1280, "height": 800}
        page = browser.new_context(viewport=size).new_page()  # type: ignore[arg-type]
        page.add_init_script(OBSERVE)
        page.goto(url)
        pages.append(page)
    return pages


def server_cpu_s(page: LivePage) -> float:
    """Return the processor time of the server's thread so far (proc(5): utime and stime)."""
    stat = Path(f"/proc/self/task/{page._thread.native_id}/stat").read_text(encoding="ascii")
    fields = stat.rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def rss_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def late_ms(feed: Feed, seen: list[tuple[int, float]]) -> Any:
    """Return how long after it was logged each row was seen, ms."""
    logged = dict(feed.logged_ms)
    return np.array([at - logged[int(seq)] for seq, at in seen if int(seq) in logged])


def collected(pages: list[Page], name: str) -> list[tuple[int, float]]:
    return [(int(seq), at) for page in pages for seq, at in page.evaluate(f"window.{name}")]


@pytest.mark.parametrize("watched", [True, False], ids=["watched", "measuring"])
def test_logged_to_pixel(benchmark: Any, browser: Browser, tmp_path: Path, watched: bool) -> None:
    """Prints latency percentiles over all screens, and the server's share of a core."""
    seconds = 20.0 if benchmark.enabled else 1.5
    with feeding(tmp_path, RATE_HZ, 1_000_000, watched=watched) as feed:
        pages = open_screens(browser, feed.page.url, SCREENS)
        pages[0].wait_for_timeout(1000.0)
        for page in pages:
            page.evaluate("window.painted.length = window.reached.length = 0")
        before_s, first = server_cpu_s(feed.page), max(feed.logged_ms)
        benchmark.pedantic(pages[0].wait_for_timeout, args=(1000.0 * seconds,), rounds=1)
        cpu_s, readings = server_cpu_s(feed.page) - before_s, max(feed.logged_ms) - first
        reached, painted = collected(pages, "reached"), collected(pages, "painted")
    to_page, to_pixel = late_ms(feed, reached), late_ms(feed, painted)
    print(f"\n{SCREENS} screens, {readings / seconds:.1f} readings/s, {seconds:.0f} s, ", end="")
    print(f"{'watched' if watched else 'measuring'}; load {os.getloadavg()[0]:.1f}")
    print(f"painted            {to_pixel.size} of {SCREENS * readings}")
    for name, late in (("logged to page ", to_page), ("logged to pixel", to_pixel)):
        p50, p90, p99 = np.percentile(late, [50, 90, 99])
        print(f"{name}    p50 {p50:.0f} ms   p90 {p90:.0f} ms   p99 {p99:.0f} ms")
        benchmark.extra_info.update({name.strip(): [p50, p90, p99]})
    print(f"server             {100.0 * cpu_s / seconds:.1f} % of a core")
    benchmark.extra_info.update(cpu=cpu_s / seconds)
    assert to_pixel.size > 0
    # The server may see a row before this thread has noted that it is on the disk.
    assert all(at > feed.taken_ms[seq] for seq, at in painted if seq in feed.taken_ms)


@pytest.mark.study
@pytest.mark.timeout(1500)
def test_an_hour_of_readings_leaves_memory_flat(browser: Browser, tmp_path: Path) -> None:
    """72,000 readings (an hour at 20 a second) through the server and two screens."""
    marks: list[tuple[int, float, float, int]] = []
    with feeding(tmp_path, 300.0, SOAK_READINGS) as feed:
        pages = open_screens(browser, feed.page.url, 2)
        session = pages[0].context.new_cdp_session(pages[0])
        session.send("Performance.enable")
        for share in (0.25, 0.5, 0.75, 1.0):
            while max(feed.logged_ms, default=0) < share * SOAK_READINGS:
                pages[0].wait_for_timeout(250.0)
            session.send("HeapProfiler.collectGarbage")
            found = session.send("Performance.getMetrics")["metrics"]
            metrics = {one["name"]: one["value"] for one in found}
            gc.collect()
            heap_mb, nodes = metrics["JSHeapUsedSize"] / 1e6, int(metrics["Nodes"])
            marks.append((max(feed.logged_ms), rss_mb(), heap_mb, nodes))
    print("\nreadings   server RSS MB   page heap MB   page nodes")
    for readings, rss, heap, nodes in marks:
        print(f"{readings:8d}   {rss:13.1f}   {heap:12.2f}   {nodes:10d}")
    print(json.dumps({"marks": marks}))
    (_, rss_a, heap_a, nodes_a), (_, rss_b, heap_b, nodes_b) = marks[0], marks[-1]
    # The feed itself keeps 54,000 times of logging meanwhile: about 8 MB.
    assert rss_b - rss_a < 25.0
    assert heap_b - heap_a < 3.0
    assert nodes_b < nodes_a + 200
