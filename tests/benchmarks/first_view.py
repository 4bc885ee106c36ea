"""When the first page can be read over a slow connection, by a browser that has nothing of it.

The daemon as it ships plates on a simulated tank; Chromium asks for its first page at 1.5 Mbit/s
and 150 ms an answer (DevTools' Network.emulateNetworkConditions), with nothing cached, in a context
of its own each time. Told are the first contentful paint and the first frame in which the plain
sentence has a place on the screen, from the beginning of navigation, and the bytes over the wire
before the chart, heads included. The floor is a page of one sentence under the same conditions.

DevTools delays each answer, but not the making of a connection: on a real line of this kind one
more journey there and back comes on top, of 150 ms, and over TLS one or two more.
"""

import argparse
import statistics
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

from harness import Served, show
from playwright.sync_api import Browser

from drivers.simulator.process import SimulatorProcess

sys.path.insert(0, str(Path(__file__).parent.parent / "web"))

from chromium import opened
from loading import NOTE_SENTENCE, follow

FLOOR = b"<!doctype html><title>floor</title><h1>Plating. Nothing needs you.</h1>"
SIZES = {"phone": (390, 844), "desktop": (1280, 800)}


@dataclass
class Seen:
    """What was measured of one page: ms, ms and bytes."""

    paint_ms: list[float] = field(default_factory=list)
    sentence_ms: list[float] = field(default_factory=list)
    size: list[int] = field(default_factory=list)


@contextmanager
def floor() -> Iterator[str]:
    """A server of one sentence; gives its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(FLOOR)))
            self.end_headers()
            self.wfile.write(FLOOR)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    server = HTTPServer(("127.0.0.1", 0), Handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()


def look(browser: Browser, address: str, size: tuple[int, int], seen: Seen) -> None:
    """Load a page once in a browser that has nothing of it."""
    context = browser.new_context(viewport={"width": size[0], "height": size[1]})
    page = context.new_page()
    page.add_init_script(NOTE_SENTENCE)
    loading = follow(page, throttled=True)
    page.goto(address)
    page.wait_for_timeout(500)  # what is before the chart is there, and was painted
    paint = "performance.getEntriesByName('first-contentful-paint')[0].startTime"
    seen.paint_ms.append(page.evaluate(paint))
    seen.sentence_ms.append(page.evaluate("window.sentenceMs"))
    seen.size.append(loading.before_chart)
    context.close()


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--times", type=int, default=15, help="looks at each page (15)")
    parser.add_argument("--before", type=float, default=60.0, help="s of plating before (60)")
    options = parser.parse_args()
    seen = {f"{page}, {size}": Seen() for page in ("one sentence", "Now") for size in SIZES}
    with (
        floor() as bare,
        SimulatorProcess(seed=1) as tank,
        Served(tank.port, 0.1, page=True) as served,
        opened() as browser,
    ):
        served.controls.plate()
        time.sleep(options.before)
        for _ in range(options.times):
            for page, address in (("one sentence", bare), ("Now", f"http://{served.listen}")):
                for size, viewport in SIZES.items():
                    look(browser, address, viewport, seen[f"{page}, {size}"])
    rows = []
    for name, what in seen.items():
        base = seen[f"one sentence, {name.rpartition(' ')[2]}"]
        ratio = statistics.median(what.sentence_ms) / statistics.median(base.sentence_ms)
        rows.append(
            [
                name,
                f"{statistics.median(what.paint_ms):.0f}",
                f"{max(what.paint_ms):.0f}",
                f"{statistics.median(what.sentence_ms):.0f}",
                f"{max(what.sentence_ms):.0f}",
                f"{ratio:.1f}×",
                f"{max(what.size) / 1e3:.1f}",
            ]
        )
    show(
        "First view at 1.5 Mbit/s and 150 ms, ms",
        ["", "first paint", "most", "sentence", "most", "against floor", "kB before the chart"],
        rows,
        "aims: 1000 ms; 60 kB",
    )


if __name__ == "__main__":
    main()
