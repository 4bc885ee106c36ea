"""The loop's process as `daemon.service.main` makes it, which also notes when it read and decided.

For `lateness.py`, which starts it. The supply and the loop are their own kind with one line more:
the moment at which a reading is asked for, and the moment at which its cycle (decided, demanded,
handed to the record) is over. They are kept in memory and written to MOMENTS at the end, one row
for each reading: both moments, s on the monotonic clock.

With `--page-inside` the page is served from a thread of this process, by the very app and settings
that have a process of their own otherwise: the baseline. With `--fifo PRIORITY` all threads have
the real-time scheduling that the kernel calls SCHED_FIFO.
"""

import argparse
import csv
import logging
import os
import sys
import threading
import time
from pathlib import Path

import waitress

from daemon.api.listen import parse_listen
from daemon.control.situation import Command
from daemon.service import assembly
from daemon.service import main as service
from daemon.service.cycle.loop import Loop
from daemon.service.cycle.scribe import Start
from daemon.service.devices import assembly as devices
from daemon.service.devices.supply_worker import News
from daemon.service.supervision.beat import BeatSender, Ready
from drivers.contracts import Reading
from drivers.scpi.supply import ScpiSupply
from web.__main__ import SERVER
from web.app import create_app

ASKED_S: dict[float, float] = {}
"""When each reading was asked for, by its own stamp."""

MOMENTS: list[tuple[float, float]] = []
"""When each was asked for, and when its cycle was over."""


class WatchedSupply(ScpiSupply):
    """Notes when a reading is asked for."""

    def read(self) -> Reading:
        asked_s = time.monotonic()
        reading = super().read()
        ASKED_S[reading.monotonic_s] = asked_s
        return reading


class WatchedLoop(Loop):
    """Notes when a reading's cycle is over."""

    def cycle(self, news: News | None = None, command: Command | Start | None = None) -> None:
        super().cycle(news, command)
        if isinstance(news, Reading):
            MOMENTS.append((ASKED_S.pop(news.monotonic_s), time.monotonic()))


class PageInside(BeatSender):
    """Starts the page in a thread as soon as the loop is ready for it."""

    def ready(self, ready: Ready) -> None:
        super().ready(ready)
        where = parse_listen(ready.listen or "")
        app = create_app(Path(ready.socket), Path(ready.record), where)
        # Under load the server tells of every request that has to wait.
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)
        serving = {"host": where.host, "port": where.port, **SERVER}
        threading.Thread(target=waitress.serve, args=(app,), kwargs=serving, daemon=True).start()


def main() -> int:
    """Run one loop process and write what was noted; its exit code."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--settings", required=True)
    parser.add_argument("--beat", required=True)
    parser.add_argument("--moments", type=Path, required=True)
    parser.add_argument("--page-inside", action="store_true")
    parser.add_argument("--fifo", type=int)
    options = parser.parse_args()
    if options.fifo is not None:
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(options.fifo))
    devices.ScpiSupply = WatchedSupply
    assembly.Loop = WatchedLoop
    if options.page_inside:
        service.BeatSender = PageInside
    code = service.main(["--settings", options.settings, "--beat", options.beat])
    with options.moments.open("w", newline="") as file:
        csv.writer(file).writerows(MOMENTS)
    return code


if __name__ == "__main__":
    sys.exit(main())
