"""Takes pictures of the page in every state: `python tests/web/screenshots.py OUTDIR`.

Phone and desktop, light and dark, without and with the script's chart, from made-up statuses and a
real record. For looking at; nothing is compared.
"""

import sys
import tempfile
from pathlib import Path
from typing import Any, Literal

from conftest import (
    CHROMIUM,
    CHROMIUM_ARGS,
    Peer,
    a_measured_status,
    a_run,
    a_short,
    a_status,
    alarm_entries,
    an_alarm,
    audit_entries,
    serving,
    write_entries,
    write_record,
)
from playwright.sync_api import Browser, ViewportSize, expect, sync_playwright

from daemon.api.messages import StageStatus, Status

SIZES: dict[str, ViewportSize] = {
    "phone": {"width": 390, "height": 844},
    "desktop": {"width": 1280, "height": 800},
}
THEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def _off(**changes: Any) -> Status:
    return a_status(output_on=False, current_a=0.0, voltage_v=0.31, mode=None, **changes)


def _all(state: Literal["to come", "done"]) -> tuple[StageStatus, ...]:
    """The stages, with those that are not done yet in `state`."""
    return tuple(
        s if s.state == "done" else s.model_copy(update={"state": state}) for s in a_run().stages
    )


STATES: dict[str, Status | None] = {
    "no-run": _off(state="idle", run=None),
    "running": a_status(),
    "measured": a_measured_status(),
    "measured-early": a_measured_status(run={"thickness_um": 1.31}),
    "measured-end": a_measured_status(
        state="complete",
        output_on=False,
        current_a=0.0,
        voltage_v=0.31,
        meters=(),
        run={"stage": 2, "stages": _all("done"), "thickness_um": 25.02, "remaining_s": None},
    ),
    "simulated": a_status(rate=200.0, reading_age_s=1.0),
    "held": _off(state="held", run=a_run(remaining_s=None, reason="hold by anna")),
    "aborted": _off(
        state="aborted",
        run=a_run(
            stages=_all("to come"),
            remaining_s=None,
            reason="voltage 5.62 V above 5.50 V for 2 s: a contact is bad",
        ),
    ),
    "complete": _off(
        state="complete",
        run=a_run(
            stage=2,
            stages=_all("done"),
            thickness_um=25.0,
            charge_ah=23.151,
            mass_g=27.45,
            remaining_s=None,
        ),
    ),
    "alarm-aborted": _off(
        state="aborted",
        run=a_run(
            stages=_all("to come"),
            remaining_s=None,
            reason="short: 0.11 V at 3.50 A; 2.21 V a second before",
        ),
        alarms=(a_short(),),
    ),
    "alarm-plating": a_status(
        alarms=(
            an_alarm(),
            an_alarm(
                number=2,
                cause="bath too cold",
                priority="low",
                life="acknowledged",
                seen="16.9 °C, at least 18 °C is wanted",
                acknowledged_by="anna",
            ),
        )
    ),
    "alarm-still-on": a_status(
        state="aborting",
        run=a_run(
            remaining_s=None,
            reason="output did not stop: 3.498 A still flows 6.0 s after output off",
        ),
        alarms=(
            an_alarm(
                cause="output did not stop",
                priority="high",
                seen="3.498 A still flows 6.0 s after output off",
                did="The supply was told again to switch its output off.",
                check="the supply's front panel and its mains switch; a clamp meter on the "
                "anode's lead",
                need="Switch the supply off by hand now, at the mains if it does not obey.",
                times=2,
            ),
            a_short(),
        ),
    ),
    "silent-supply": a_status(reading_age_s=14.0),
    "daemon-down": None,
}


PAGES = {
    "page-history": "/alarms/history",
    "page-alarm": "/alarm/3",
    "page-alarm-near": "/alarm/3?near=1",
    "page-alarm-just-now": "/alarm/4",
    "page-alarm-at-rest": "/alarm/1",
    "page-effects": "/effects",
    "page-audit": "/audit",
}
"""Pages besides the first."""


def _shoot(browser: Browser, address: str, status: Status | None, out: Path, name: str) -> None:
    for size, viewport in SIZES.items():
        context = browser.new_context(viewport=viewport)
        page = context.new_page()
        for theme in THEMES:
            page.emulate_media(color_scheme=theme)
            page.goto(address)
            if status is not None and status.run is not None:
                expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
            page.screenshot(path=out / f"{name}-{size}-{theme}.png", full_page=size == "phone")
            if name == "measured":
                page.goto(f"{address}/?open")
                expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
                page.screenshot(path=out / f"{name}-open-{size}-{theme}.png", full_page=True)
        context.close()


def _shoot_plain(browser: Browser, address: str, out: Path) -> None:
    for size, viewport in SIZES.items():
        context = browser.new_context(viewport=viewport, java_script_enabled=False)
        page = context.new_page()
        page.goto(address)
        page.screenshot(path=out / f"no-script-{size}.png", full_page=True)
        context.close()


def _shoot_pages(browser: Browser, folder: Path, out: Path, wanted: str) -> None:
    """The other pages, of a record with a night's alarms; nothing in them needs a script."""
    record = folder / "alarms.db"
    write_record(record, hours=0.5, every_s=10.0)
    write_entries(record, [*alarm_entries(), *audit_entries(9)])
    peer = Peer(folder / "alarms.sock", a_status())
    peer.start()
    with serving(peer.path, record) as address:
        for size, viewport in SIZES.items():
            context = browser.new_context(viewport=viewport, java_script_enabled=False)
            page = context.new_page()
            for name, path in PAGES.items():
                for theme in THEMES if name.startswith(wanted) else ():
                    page.emulate_media(color_scheme=theme)
                    page.goto(address + path)
                    page.screenshot(path=out / f"{name}-{size}-{theme}.png", full_page=True)
            context.close()
    peer.stop()


def main(out: Path, wanted: str = "") -> None:
    """Take every picture, or those of the states whose name begins with `wanted`."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        record = Path(folder) / "record.db"
        write_record(record, hours=6.17, every_s=1.0)
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=CHROMIUM_ARGS)
        for name, status in STATES.items():
            if not name.startswith(wanted):
                continue
            peer = Peer(Path(folder) / "control.sock", status or a_status())
            if status is not None:
                peer.start()
            with serving(peer.path, record) as address:
                _shoot(browser, address, status, out, name)
                if name == "running":
                    _shoot_plain(browser, address, out)
            peer.stop()
        _shoot_pages(browser, Path(folder), out, wanted)
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), *sys.argv[2:3])
