"""What the daemon costs while little happens: processor and memory of guard, loop and page.

Three states, one after the other, each for as long: nothing under way; a run under way and recorded
at 10 samples a second; the same with one page open, which asks once a second. The share is of one
core. Memory is the kernel's own count: RSS, and PSS, which shares out what processes have in common
(the sum of PSS is what the daemon really takes).
"""

import argparse
import http.client
import time
from collections.abc import Callable

from harness import Served, cpu_s, memory_mb, show

from drivers.simulator.process import SimulatorProcess

PERIOD_S = 0.1
"""s. 10 samples a second, the settings' default."""

SETTLE_S = 3.0
"""s between one state and the next that are not counted."""

ROLES = ("guard", "loop", "page")


def watch(served: Served, seconds: float, each_second: Callable[[], None]) -> list[str]:
    """Let time pass; the cells of a table's row: of each process its share, RSS and PSS."""
    time.sleep(SETTLE_S)
    from_s, before = time.monotonic(), [cpu_s(served.pids[role]) for role in ROLES]
    while (left_s := from_s + seconds - time.monotonic()) > 0:
        each_second()
        time.sleep(min(1.0, left_s))
    passed_s = time.monotonic() - from_s
    cells, shares, sum_mb = [], 0.0, 0.0
    for role, before_s in zip(ROLES, before, strict=True):
        share = 100 * (cpu_s(served.pids[role]) - before_s) / passed_s
        rss_mb, pss_mb = memory_mb(served.pids[role])
        shares, sum_mb = shares + share, sum_mb + pss_mb
        cells += [f"{share:.2f} %", f"{rss_mb:.1f} / {pss_mb:.1f}"]
    return [*cells, f"{shares:.2f} %", f"{sum_mb:.1f}"]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=60.0, help="length of each state")
    options = parser.parse_args()
    with (
        SimulatorProcess(seed=1) as tank,
        Served(tank.port, PERIOD_S, page=True) as served,
    ):
        rows = [["idle", *watch(served, options.seconds, lambda: None)]]
        served.controls.plate()
        rows.append(["plating", *watch(served, options.seconds, lambda: None)])
        page = http.client.HTTPConnection(served.listen)

        def ask() -> None:
            page.request("GET", "/status.json")
            page.getresponse().read()

        rows.append(["plating, a page open", *watch(served, options.seconds, ask)])
        page.close()
        served.controls.well()
    columns = [""]
    for role in ROLES:
        columns += [role, "RSS / PSS"]
    show(
        f"The daemon at {1 / PERIOD_S:g} samples/s: share of one core, and memory in MiB",
        [*columns, "together", "PSS"],
        rows,
        f"{options.seconds:g} s each",
    )


if __name__ == "__main__":
    main()
