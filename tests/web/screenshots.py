"""Takes pictures of the page in every state: `python tests/web/screenshots.py OUTDIR`.

Phone and desktop, light and dark, without and with the script's chart, from made-up statuses and a
real record. For looking at; nothing is compared.
"""

import hashlib
import json
import sys
import tempfile
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlencode

import run_records
import trimesh
from chromium import opened
from conftest import (
    STARTED_MS,
    Peer,
    a_measured_status,
    a_proof,
    a_proof_made,
    a_run,
    a_short,
    a_status,
    a_walk,
    alarm_entries,
    an_alarm,
    an_entry,
    audit_entries,
    cut_short,
    keep_bath,
    keep_proofs,
    serving,
    write_entries,
    write_record,
)
from looking import NARROW, SIZES, THEMES, Look, look_in_each
from plan_pictures import shoot_plans
from playwright.sync_api import Browser, Page, ViewportSize, expect

from daemon.access.operators import operators_at
from daemon.api.socket.messages import DueStatus, MeterStatus, StageStatus, Status
from daemon.api.socket.proof import ProofEnd, ProofStatus
from daemon.api.socket.pumps import PumpStatus
from daemon.bath.description import Additive, Description
from daemon.bath.parts.apart import measured
from daemon.bath.parts.asked import Asked, Found
from daemon.chemistry.calibration import Point, ReferenceClass, fitted
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record.entries import (
    Audited,
    BathEntered,
    CalibrationMade,
    CountedBy,
    Noted,
    PartKept,
    RunEnded,
    RunOpened,
    Sample,
    Settled,
)
from daemon.record.writer import Writer


def _off(**changes: Any) -> Status:
    return a_status(output_on=False, current_a=0.0, voltage_v=0.31, mode=None, **changes)


def _all(state: Literal["to come", "done"]) -> tuple[StageStatus, ...]:
    """The stages, with those that are not done yet in `state`."""
    return tuple(
        s if s.state == "done" else s.model_copy(update={"state": state}) for s in a_run().stages
    )


DUES = (
    DueStatus(kind="dose", name="brightener", amount_ml=5.0, open_ml=5.5, doses=1, in_ah=-3.2),
    DueStatus(
        kind="dose", name="carrier", amount_ml=10.0, open_ml=1.0, in_ah=4.9, plating_s=5100.0
    ),
    DueStatus(kind="upkeep", name="filtration", in_ah=31.0, in_s=4 * 86_400.0),
)

LAST = {"last_ml": 2.98, "last_utc": "2026-03-02T01:12:00+00:00", "day_ml": 11.9}
PUMP = PumpStatus(
    additive="brightener", dose_ml=3.0, flow_ml_s=0.25, most_day_ml=20.0, owed_ml=1.2,
    why_not="1.2 of 3 mL are used up", passes=True,
)  # fmt: skip
CARRIER = PUMP.model_copy(update={"additive": "carrier", "dose_ml": 6.0, "most_day_ml": 40.0})
LOW = "the level is low or not known: interlock open: level"
PUMPS = {
    "runs": {"runs": True, "owed_ml": 3.1, "due": True, "why_not": None, **LAST},
    "done": LAST,
    "kept": {
        "owed_ml": 5.02, "due": True, "why_not": LOW, "passes": False,
        "kept_utc": "2026-03-02T01:40:00+00:00", **LAST, "last_ml": 1.31, "last_cut_short": LOW,
    },
    "by-hand": {"runs": True, "by_hand": True, "why_not": "no run plates", **LAST},
}  # fmt: skip
"""What a pump may be about."""


def _pumping(about: str) -> Status:
    """A tank whose pump is about that, beside another that rests."""
    pumps = (PUMP.model_copy(update=PUMPS[about]), CARRIER)
    if about == "by-hand":
        return _off(state="idle", run=None, dues=DUES, pumps=pumps)
    dues = DUES if pumps[0].due else DUES[1:]
    return a_measured_status(dues=dues, pumps=pumps)


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
    "dose-due": a_status(dues=DUES),
    **{f"pump-{about}": _pumping(about) for about in PUMPS},
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
    "page-settings": "/settings",
    "page-audit": "/audit",
    "page-bath": "/bath",
    "page-offline": "/offline",
}
"""Pages besides the first."""


def _shoot(browser: Browser, address: str, status: Status | None, look: Look, name: str) -> None:
    for size, viewport in SIZES.items():
        context = browser.new_context(viewport=viewport)
        page = context.new_page()
        for theme in THEMES:
            page.emulate_media(color_scheme=theme)
            page.goto(address)
            if status is not None and status.run is not None:
                expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
            look(page, f"{name}-{size}-{theme}")
            if name == "measured":
                page.goto(f"{address}/?open")
                expect(page.locator(".drawn .main-svg").first).to_be_visible(timeout=20_000)
                look(page, f"{name}-open-{size}-{theme}")
        context.close()


def _shoot_plain(browser: Browser, address: str, look: Look) -> None:
    for size, viewport in SIZES.items():
        context = browser.new_context(viewport=viewport, java_script_enabled=False)
        page = context.new_page()
        page.goto(address)
        look(page, f"no-script-{size}")
        context.close()


def _shoot_each(
    browser: Browser,
    address: str,
    pages: Mapping[str, str],
    sizes: Mapping[str, ViewportSize],
    look: Look,
    wanted: str,
) -> None:
    """Pages by their addresses, in every size and theme."""
    for size, viewport in sizes.items():
        context = browser.new_context(viewport=viewport, java_script_enabled=False)
        page = context.new_page()
        for name, path in pages.items():
            for theme in THEMES if name.startswith(wanted) else ():
                page.emulate_media(color_scheme=theme)
                page.goto(address + path)
                look(page, f"{name}-{size}-{theme}")
        context.close()


def _shoot_pages(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """The other pages, of a record with a night's alarms; nothing in them needs a script."""
    record = folder / "alarms.db"
    write_record(record, hours=0.5, every_s=10.0)
    write_entries(record, [*alarm_entries(), *audit_entries(9)])
    _enter(record)
    peer = Peer(folder / "alarms.sock", a_status(dues=DUES))
    peer.start()
    with serving(peer.path, record) as address:
        _shoot_each(browser, address, PAGES, SIZES, look, wanted)
    peer.stop()


def _enter(record: Path) -> None:
    """Put something into the bath's account."""
    writer = Writer(record, threaded=False)
    bath = Description("Copper 1", additives=(Additive("brightener", 150.0, 5.0),))
    for kind, amounts, facts in (
        ("description", {}, bath.to_json()),
        ("dose", {"brightener": 5.0, "volume": 0.005}, {}),
        ("appearance", {}, {"looks": ["dull", "even"]}),
        ("water", {"volume": 0.5}, {"level_l": 15.0}),
    ):
        at_ms = STARTED_MS + 60_000
        writer.keep_bath_entry(BathEntered("Copper 1", kind, "anna", at_ms, at_ms, amounts, facts))
    writer.close()


MADE = {
    "volume": "15 L", "target.copper_sulfate": "196.5 g/L", "target.sulfuric_acid": "60 g/L",
    "target.chloride": "60 mg/L", "acid.strength": "96 %", "additive[1].name": "brightener",
    "additive[1].make_up": "1.6 mL/L", "additive[1].price": "38 EUR/L",
    "additive[2].name": "carrier", "additive[2].make_up": "7.8 mL/L",
    "crystals.price": "9.50 EUR/kg",
}  # fmt: skip
WRONG = MADE | {
    "volume": "-5 L", "acid.strength": "120 %", "additive[2].make_up": "7.8 mL",
    "target.chloride": "60",
}  # fmt: skip
POURED = {
    "volume": "4 gal", "poured.copper_sulfate": "3.3 lb", "poured.acid": "42.4 fl oz",
    "poured.water": "3.68 gal", "acid.strength": "SG 1.280",
}  # fmt: skip
THERE = MADE | {
    "present.volume": "14 L", "present.copper_sulfate": "180 g/L",
    "present.sulfuric_acid": "55 g/L",
}  # fmt: skip


TITRATED = {
    "strength": "0.1 mol/L", "factor": "0.998", "sample": "10 mL", "diluted-to": "100 mL",
    "aliquot": "20 mL", "readings[1]": "0.00-14.12", "readings[2]": "14.12-28.21",
    "readings[3]": "0.05-14.19", "blank[1]": "0.06",
}  # fmt: skip
PANEL = {"current": "2 A", "cell": "267 mL", "at[1]": "2 in", "density[1]": "20 ASF"}


def _found(days: float, **found: tuple[float, float]) -> BathEntered:
    """An analysis: by component its value and standard uncertainty."""
    results = {name.replace("_", " "): {"value": v, "u": u} for name, (v, u) in found.items()}
    return an_entry("analysis", {}, days, method="EDTA 0.1 mol/L", results=results)


FOUND = (
    *(_found(50 - 10 * k, copper=(53.8 - 1.4 * k + 0.3 * (k % 2), 0.35)) for k in range(5)),
    *(_found(48 - 15 * k, sulfuric_acid=(61.0 - 0.3 * k, 0.5)) for k in range(3)),
    _found(20, chloride=(44.0, 2.0)),
)


ENTERED = (
    an_entry("make-up", {"volume": 15.0, "copper": 810.0, "sulfuric acid": 915.0,
                         "chloride": 0.9, "brightener": 24.0, "carrier": 117.0}, 52),
    an_entry("dose", {"brightener": 5.0, "volume": 0.005}, 12),
    an_entry("appearance", {}, 6, looks=["dull", "even"]),
    an_entry("water", {"volume": 0.5}, 4, level_l=15.0),
    an_entry("anodes", {}, 3, area_dm2=1.6, mass_g=620.0),
)  # fmt: skip


def _with(path: str, fields: dict[str, str]) -> str:
    return f"{path}?{urlencode(fields)}"


BATH_PAGES = {
    "makeup-empty": "/makeup",
    "makeup-filled": _with("/makeup", MADE),
    "makeup-wrong": _with("/makeup", WRONG),
    "mixed-empty": "/makeup/mixed",
    "mixed-filled": _with("/makeup/mixed", POURED),
    "top-up-filled": _with("/makeup/top-up", THERE),
    "analyses-kept": "/analyses",
    "analysis-empty": "/analyses/edta",
    "analysis-filled": _with("/analyses/edta", TITRATED),
    "analysis-wrong": _with(
        "/analyses/edta", TITRATED | {"sample": "-10 mL", "readings[2]": "7,6"}
    ),
    "hull-empty": "/analyses/hull",
    "hull-filled": _with("/analyses/hull", PANEL),
    "hull-wrong": _with("/analyses/hull", PANEL | {"at[1]": "4 in"}),
    "bath-page": "/bath",
    "account": "/bath/account",
    "account-past": "/bath/account?on=2026-02-10",
    "account-wrong": "/bath/account?on=10.2.2026",
    "account-entry": "/bath/account/2",
    "enter-addition": "/bath/enter/addition",
    "enter-appearance": "/bath/enter/appearance",
    "rates-wrong": _with("/bath/rates", {"rate": "188 mL", "dose": "5 mL"}),
    "cost-filled": _with("/bath/cost", {"run": "12", "parts": "4", "efficiency": "80 %"}),
    "filtration": _with("/bath/filtration", {"volume": "15 L", "flow": "60 L/h", "for": "1 h"}),
}
"""What is asked of the bath's pages: empty, filled in, and with what cannot be used."""

RUN_PAGES = {
    "runs-list": "/runs",
    "runs-found": "/runs?words=lamp&ended=complete",
    "runs-no-fit": "/runs?words=spoon",
    "runs-wrong": "/runs?since=1.3.2026",
    "runs-report-under-way": "/runs/61",
    "runs-compare": "/runs/compare?run=57&run=55",
    "runs-compare-which": "/runs/compare?run=57",
    "runs-compare-wrong": "/runs/compare?run=57&run=57",
}
"""Pages about runs."""

PLAN = Path("daemon/service/examples/lamp_foot.toml").read_text("utf-8")


def _shoot_bath(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """The pages of the bath's chemistry, of one that is described in full."""
    record = folder / "bath.db"
    write_record(record, hours=2.0, every_s=10.0)
    keep_bath(record, *ENTERED, *FOUND)
    peer = Peer(folder / "bath.sock", a_status(dues=DUES))
    peer.start()
    with serving(peer.path, record) as address:
        _shoot_each(browser, address, BATH_PAGES, NARROW, look, wanted)
        for about in PUMPS:
            peer.status = _pumping(about)
            _shoot_each(browser, address, {f"pump-bath-{about}": "/bath"}, NARROW, look, wanted)
    peer.stop()


def _rehearse(page: Page, address: str) -> None:
    """Have a plan rehearsed, as somebody does."""
    page.goto(f"{address}/rehearse")
    page.get_by_label("Plan", exact=True).fill(PLAN)
    page.get_by_label("What goes wrong").fill("short at 4:12")
    page.get_by_role("button", name="Rehearse it").click()


def _shoot_rehearsals(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """Rehearsals: none, an answer, a refusal; a run beside its own, also while it is on."""
    record = folder / "rehearsals.db"
    write_record(record, hours=6.17, every_s=10.0)
    peer = Peer(folder / "rehearsals.sock", a_status())
    data: dict[str, Any] = {"rehearsal": peer.rehearsal.model_dump_json()}
    write_entries(record, [Noted(12, "foretold", "would work", STARTED_MS, 100.0, data)])
    peer.start()
    because = (
        "cap on time reached at 18.2 of 25.00 µm, after 9 h 00 min",
        "in stage 2, full current, 2 V let 1.21 A through where 3.5 A is asked for",
    )
    works = peer.rehearsal
    with serving(peer.path, record) as address:
        context = browser.new_context(java_script_enabled=False)
        page = context.new_page()
        paths = {"empty": "/rehearse", "after": "/rehearse/12", "now": "/"}
        for name in ("empty", "works", "not", "refused", "after", "now"):
            if not f"rehearsal-{name}".startswith(wanted):
                continue
            peer.rehearsal = works.model_copy(update={"because": because if name == "not" else ()})
            peer.refusal = "plan: target is missing" if name == "refused" else None
            if name in paths:
                page.goto(address + paths[name])
            else:
                _rehearse(page, address)
            look_in_each(page, look, f"rehearsal-{name}", NARROW)
        context.close()
    peer.stop()


class _Going(Peer):
    """A daemon that has a new reading whenever it is asked; its shunt shows 1 % and 4 mA more."""

    def show(self, current_a: float) -> None:
        raw_a = 1.01 * current_a + 0.004 + (0.009 if current_a == 2 else 0.0)
        seen = {"voltage_v": None, "age_s": 0.3}
        shunt = MeterStatus(
            name="shunt", counts=True, current_a=raw_a, raw_current_a=raw_a, step_a=0.00125, **seen
        )
        supply = MeterStatus(
            name="supply", counts=False, current_a=current_a, raw_current_a=current_a, **seen
        )
        self.status = a_status(
            meters=(shunt, supply), output_on=current_a > 0, current_a=raw_a,
            monotonic_s=self.status.monotonic_s,
        )  # fmt: skip

    def _answer(self, line: bytes) -> bytes:
        later_s = self.status.monotonic_s + 0.7
        self.status = self.status.model_copy(update={"monotonic_s": later_s})
        return super()._answer(line)


def _press(page: Page, button: str) -> None:
    """Press a button, and wait for what comes of it: meanwhile the meter is read."""
    with page.expect_navigation():
        page.get_by_role("button", name=button).click()


def _compare(page: Page, peer: _Going, address: str) -> None:
    """Take a zero and three currents, of which one does not fit, and be refused."""
    peer.show(0.0)
    page.goto(f"{address}/calibration?meter=shunt")
    _press(page, "Take the zero")
    for current_a in (1.0, 2.0, 3.0):
        peer.show(current_a)
        reference = page.get_by_label("The reference shows, A")
        page.goto("about:blank")
        # Until the page's newest word from the daemon is one with a current.
        while not reference.count():
            page.goto(f"{address}/calibration?meter=shunt")
        reference.fill(f"{current_a:.3f}")
        _press(page, "Take this point")
    page.get_by_label("The reference shows, A").fill("2,5")
    _press(page, "Take this point")
    expect(page.get_by_role("alert")).to_be_visible(timeout=20_000)


def _keep(record: Path) -> None:
    """Put a calibration of the shunt into the record."""
    points = tuple(Point(1.01 * a + 0.004 + off, 1e-4, a) for a, off in ((0, 0), (1, 3e-4), (3, 0)))
    reference = ReferenceClass(0.005, 0.003)
    writer = Writer(record, threaded=False)
    writer.keep_calibration(
        CalibrationMade(
            meter="shunt",
            utc_ms=STARTED_MS,
            who="anna",
            reference="handheld, serial 4711",
            reference_class="0.5 % + 3 mA",
            note="after the new shunt",
            points=points,
            line=fitted(points, reference).line,
        )
    )
    writer.close()


def _shoot_runs(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """The pages about runs: none, some, looked for, a report, two compared."""
    if not "runs".startswith(wanted[:4]):
        return
    peer = Peer(folder / "runs.sock", a_status())
    peer.start()
    none = folder / "no-runs.db"
    run_records.keep(none)
    record = folder / "runs.db"
    run_records.keep_nights(record)
    with serving(peer.path, none) as address:
        _shoot_each(browser, address, {"runs-none": "/runs"}, NARROW, look, wanted)
    with serving(peer.path, record) as address:
        _shoot_each(browser, address, RUN_PAGES, NARROW, look, wanted)
    night = folder / "night.db"
    run_records.keep_report(night)
    with serving(peer.path, night) as address:
        _shoot_each(browser, address, {"runs-report": "/runs/12"}, NARROW, look, wanted)
    peer.stop()


def _shoot_calibration(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """The page about calibrations: never compared, one kept, and a comparison that was refused."""
    if not "calibration".startswith(wanted[:11]):
        return
    record = folder / "calibrations.db"
    write_record(record, hours=0.5, every_s=10.0)
    peer = _Going(folder / "calibrations.sock", a_status())
    peer.show(0.0)
    peer.start()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    with serving(peer.path, record) as address:
        for name in ("never", "kept", "refused"):
            if name == "kept":
                _keep(record)
            page.goto(f"{address}/calibration")
            if name == "refused":
                _compare(page, peer, address)
            if f"calibration-{name}".startswith(wanted):
                look_in_each(page, look, f"calibration-{name}")
    context.close()
    peer.stop()


OPEN_LID = "Open the loop of 'lid' now, at the contact itself."
DONE = ProofEnd(how="passed", kept=4)
BROKEN = ProofEnd(how="failed", kept=4)
EARLY = ProofEnd(how="given up", why="no current flows: nothing can be proved without one")
PLATES = a_status(current_a=0.198, run=a_run(title="Proof test"), proving="step 2 of 6")
RESTS = _off(state="idle", run=None)

PROOFS: dict[str, tuple[Status | None, ProofStatus, bool, str]] = {
    "never": (RESTS, a_proof(due_utc=None, overdue="never"), False, ""),
    "overdue": (
        RESTS,
        a_proof(due_utc="2026-02-25T12:00:00+00:00", overdue="long ago", required=True),
        True,
        "",
    ),
    "good": (RESTS, a_proof(), True, ""),
    "cannot": (a_status(), a_proof(refusal="cannot start a run that is running"), True, ""),
    "open-lid": (PLATES, a_proof(walk=a_walk(1, todo=OPEN_LID, left_s=96.4)), True, "ab12cd34"),
    "watched": (
        PLATES,
        a_proof(walk=a_walk(3, doing="The meter is watched: the contactor has to open.")),
        True,
        "ab12cd34",
    ),
    "question": (
        RESTS,
        a_proof(walk=a_walk(4, failed=3, question="Does the siren sound now?", left_s=590.0)),
        True,
        "ab12cd34",
    ),
    "passed": (RESTS, a_proof(walk=a_walk(5, ended=DONE)), True, "ab12cd34"),
    "failed": (RESTS, a_proof(walk=a_walk(5, failed=3, ended=BROKEN)), True, "ab12cd34"),
    "early": (RESTS, a_proof(walk=a_walk(0, ended=EARLY)), True, "ab12cd34"),
    "gone": (RESTS, a_proof(), True, "another"),
    "silent": (None, a_proof(), True, "ab12cd34"),
}
"""The proof test: the tank, how it stands, whether any is kept, and the walk that is followed."""


def _shoot_proofs(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    kept, never = folder / "proofs.db", folder / "no-proofs.db"
    for record in (kept, never):
        write_record(record, hours=0.1, every_s=10.0)
    old = a_proof_made("interlock leak", utc_ms=STARTED_MS - 60 * 86_400_000, who="ben")
    keep_proofs(kept, old, a_proof_made())
    peer = Peer(folder / "proofs.sock", a_status())
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    with serving(peer.path, kept) as of_kept, serving(peer.path, never) as of_never:
        for name, (status, proof, any_kept, walk) in PROOFS.items():
            if not f"proof-{name}".startswith(wanted):
                continue
            peer.proof = proof
            if status is not None:
                peer.status = status
                peer.start()
            address = of_kept if any_kept else of_never
            page.goto(f"{address}/proof" + (f"?walk={walk}" if walk else ""))
            look_in_each(page, look, f"proof-{name}")
            page.goto("about:blank")
            peer.stop()
            time.sleep(2.1)  # until the page asks a silent daemon again
    context.close()


CUT = a_status(
    state="idle",
    run=None,
    output_on=False,
    current_a=0.0,
    alarms=(
        an_alarm(
            cause="run interrupted",
            seen="run 12, Bracket, left, is known until 0.2488 Ah; in the 5 min since, between 0 "
            "and 0.2917 Ah can have passed",
            check="the part, the bath, and why power or daemon went away",
            need="Say what happened to the part meanwhile, then start again or go on.",
            life="returned, unacknowledged",
        ),
    ),
)
FORESEEN = (
    "it goes on in stage 2 of 3, Build, at 3.5 A, with 1.1 of 25 µm on the part",
    "5 mL of brightener falls due after 0.50 Ah of this run, in about 15 min",
)


def _shoot_interruptions(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """A run that was cut short: nothing said yet, asked before it goes on, and without a bound."""
    known, unknown = folder / "cut.db", folder / "unknown.db"
    cut_short(known)
    cut_short(unknown, lasted_s=None)
    peer = Peer(folder / "cut.sock", CUT)
    peer.foreseen = FORESEEN
    peer.start()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    with serving(peer.path, known) as of_known, serving(peer.path, unknown) as of_unknown:
        for name, address in (
            ("interrupted", of_known),
            ("interrupted-asked", f"{of_known}/?go-on=12"),
            ("interrupted-settled", of_known),
            ("interrupted-unknown", of_unknown),
        ):
            if not name.startswith(wanted):
                continue
            if name == "interrupted-settled":
                peer.status = CUT.model_copy(update={"alarms": ()})
                writer = Writer(known, threaded=False)
                writer.settle(Settled(12, 0.1, "anna", "the fuse had blown", STARTED_MS))
                writer.close()
            if name == "interrupted-unknown":
                peer.status = CUT.model_copy(update={"alarms": (), "unsettled": (12,)})
                peer.why_not = (
                    "run 12: how long it was interrupted is not known: say first what passed "
                    "meanwhile, with `tankhand settle 12 CHARGE`"
                )
            page.goto(address)
            look_in_each(page, look, name)
    context.close()
    peer.stop()


def _shoot_access(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """Signing in, what a visitor sees and what an operator does, and the API for people."""
    if not "access".startswith(wanted[:6]):
        return
    record = folder / "access.db"
    write_record(record, hours=0.1)
    peer = Peer(folder / "access.sock", a_status(state="held", run=a_run(remaining_s=None)))
    peer.start()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()

    def shoot(name: str) -> None:
        look_in_each(page, look, f"access-{name}")

    with serving(peer.path, record) as address:
        page.goto(f"{address}/sign-in")
        shoot("no-operator")
    _keep_operator(record)
    with serving(peer.path, record, more=["--proxy", "127.0.0.1"]) as address:
        page.goto(address)
        shoot("visitor")
        page.goto(f"{address}/sign-in")
        shoot("empty")
        page.set_extra_http_headers({"X-Forwarded-For": "192.168.1.20"})
        page.goto(f"{address}/sign-in")
        shoot("not-encrypted")
        page.set_extra_http_headers({})
        for name in ("wrong", *4 * [""], "too-many"):
            _sign_in(page, "not the one that it is")
            if name:
                shoot(name)
    with serving(peer.path, record) as address:
        page.goto(f"{address}/sign-in?next=/")
        _sign_in(page, "copper grows in the dark")
        shoot("signed-in")
        page.goto(f"{address}/sign-in")
        shoot("already")
        page.goto(f"{address}/api")
        shoot("api")
        page.locator("#start summary").click()
        page.locator("#readings summary").click()
        page.get_by_text("BathSummary", exact=True).last.click()
        shoot("api-open")
    context.close()
    peer.stop()


def _keep_operator(record: Path) -> None:
    """Make an operator whose password takes no time."""
    key = hashlib.scrypt(b"copper grows in the dark", salt=bytes(16), n=2**10, r=8, p=1, dklen=32)
    kept = {"name": "anna", "since_utc_ms": 1, "salt": "00" * 16, "key": key.hex(),
            "cost": 2**10, "block": 8, "lanes": 1}  # fmt: skip
    path = operators_at(record)
    path.write_text(json.dumps({"operators": [kept]}), encoding="utf-8")
    path.chmod(0o600)


def _sign_in(page: Page, password: str) -> None:
    page.get_by_label("Name").fill("anna")
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in", exact=True).click()


def _meshes(folder: Path) -> dict[str, Path]:
    """A lamp's foot, a knob, and a hollow case."""
    case, hollow = trimesh.creation.box([60, 40, 30]), trimesh.creation.box([56, 36, 26])
    hollow.invert()
    stem = trimesh.creation.cylinder(6.0, 60.0).apply_translation([0.0, 0.0, 36.0])
    meshes = {
        "lamp foot": trimesh.util.concatenate([trimesh.creation.cylinder(40.0, 12.0), stem]),
        "door knob": trimesh.creation.icosphere(3, 22.0),
        "case": trimesh.util.concatenate([case, hollow]),
    }
    paths = {}
    for name, mesh in meshes.items():
        paths[name] = folder / f"{name.replace(' ', '_')}.stl"
        paths[name].write_bytes(mesh.export(file_type="stl"))
    return paths


WEIGHED_PLAN = """
title = "Lamp foot"
area = "1.8 dm²"
target = "25 µm"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""


def _keep_parts(record: Path, meshes: dict[str, Path]) -> None:
    """Parts that are kept, each measured, and weighings of the bath."""
    writer = Writer(record, threaded=False)
    asked = Audited(STARTED_MS, "anna", "page", "keep a part")
    for name, path in list(meshes.items())[:2]:
        found = measured(path.read_bytes(), Asked("stl", "mm"))
        assert isinstance(found, Found)
        area_dm2 = found.outer_mm2 / 1e4
        made = PartKept(
            name, STARTED_MS, "anna", path.name, area_dm2, 0.04 * area_dm2,
            (found.volume_mm3 or 0.0) / 1e3, picture=found.picture,
        )  # fmt: skip
        writer.keep_part(made, asked)
    rod = PartKept("hook", STARTED_MS, "ben", "4 x rod 3 x 120 mm", 0.4585, 0.021, 3.393)
    writer.keep_part(rod, asked)
    for number, efficiency in enumerate((0.962, 0.971, 0.966, 0.905), start=1):
        at_ms = STARTED_MS - (5 - number) * 86_400_000
        details = {
            "metal": "Cu(II)", "charge_ah": 6.0, "efficiency": efficiency, "u_own": 0.001,
            "u_common": 0.003, "counts": number < 4,
        }  # fmt: skip
        after_g = 24.31 + efficiency * 7.113
        facts = {"what": "part", "before_g": 24.31, "after_g": after_g, "details": details}
        writer.keep_bath_entry(
            BathEntered("Copper 1", "weighing", "anna", at_ms, at_ms, facts=facts, run_id=12)
        )
    writer.put(
        RunOpened(
            13, "Copper 1", "Lamp foot", WEIGHED_PLAN, "Cu", 1.8, 25.0, "anna", STARTED_MS, 0.0,
            "b", True, CountedBy("supply", doubt=MeterDoubt(gain=0.005)),
        )
    )  # fmt: skip
    writer.put(Sample(13, 0.0, 2.0, 1.0, 2.0, 0.0))
    writer.put(Sample(13, 10_800.0, 2.0, 1.0, 2.0, 6.0))
    writer.put(RunEnded(13, "complete", "", 0, 10_800.0, 10_800.0, 6.0, 0.0, 0.0, 7.0, 25.0))
    writer.close()


def _shoot_parts(browser: Browser, folder: Path, look: Look, wanted: str) -> None:
    """Parts: none, some that are kept, and a new one, asked about, worked out and refused."""
    if not "parts".startswith(wanted[:5]):
        return
    record = folder / "parts.db"
    write_record(record, hours=0.1)
    meshes = _meshes(folder)
    peer = Peer(folder / "parts.sock", a_status())
    peer.start()
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()

    def shoot(name: str) -> None:
        look_in_each(page, look, f"parts-{name}")

    with serving(peer.path, record) as address:
        page.goto(f"{address}/parts")
        shoot("none")
        _keep_parts(record, meshes)
        page.goto(f"{address}/parts")
        shoot("kept")
        page.goto(f"{address}/parts/new")
        shoot("new")
        page.get_by_label("Mesh file").set_input_files(meshes["case"])
        page.get_by_label("Current density").fill("2 A/dm²")
        page.get_by_role("button", name="Work it out").click()
        expect(page.get_by_role("alert")).to_be_visible(timeout=60_000)
        shoot("asked")
        page.get_by_role("button", name="Leave out").click()
        expect(page.get_by_role("button", name="Keep it")).to_be_visible(timeout=60_000)
        page.get_by_text("How the mesh is read and hangs").click()
        page.get_by_label("Liquid above its lowest point").fill("20 mm")
        page.get_by_role("button", name="Work it out").click()
        expect(page.get_by_text("dm² above it")).to_be_visible(timeout=60_000)
        shoot("worked-out")
        page.get_by_label("A shape, or").fill("box 60 x 40 mm")
        page.get_by_label("Masked").fill("120 %")
        page.get_by_role("button", name="Work it out").click()
        expect(page.get_by_role("alert")).to_be_visible(timeout=60_000)
        shoot("wrong")
        _weigh(page, address, shoot)
    context.close()
    peer.stop()


def _weigh(page: Page, address: str, shoot: Callable[[str], None]) -> None:
    """A weighing: to be filled in, worked out, asked about; and those that are kept."""
    page.goto(f"{address}/parts/weigh")
    shoot("weigh")
    page.get_by_role("link", name="Run 13").click()
    page.get_by_label("Mass before it").fill("24.310 g")
    for name, after in (("gained", "31.190 g"), ("doubtful", "29.190 g"), ("no-mass", "29.19")):
        page.get_by_label("Mass after it").fill(after)
        page.get_by_role("button", name="Work it out").click()
        shoot(name)
    page.goto(f"{address}/parts/weighings")
    shoot("weighings")


def shot(out: Path) -> Look:
    """What takes a picture of a page, in this folder."""
    out.mkdir(parents=True, exist_ok=True)

    def look(page: Page, name: str) -> None:
        page.screenshot(path=out / f"{name}.png", full_page=True)

    return look


def every_state(browser: Browser, look: Look, wanted: str = "") -> None:
    """Look at every state in every size and theme, or at those whose name begins with `wanted`."""
    with tempfile.TemporaryDirectory() as folder:
        record = Path(folder) / "record.db"
        write_record(record, hours=6.17, every_s=1.0)
        for name, status in STATES.items():
            if not name.startswith(wanted):
                continue
            peer = Peer(Path(folder) / "control.sock", status or a_status())
            if status is not None:
                peer.start()
            with serving(peer.path, record) as address:
                _shoot(browser, address, status, look, name)
                if name == "running":
                    _shoot_plain(browser, address, look)
            peer.stop()
        _shoot_pages(browser, Path(folder), look, wanted)
        _shoot_bath(browser, Path(folder), look, wanted)
        _shoot_runs(browser, Path(folder), look, wanted)
        _shoot_calibration(browser, Path(folder), look, wanted)
        _shoot_proofs(browser, Path(folder), look, wanted)
        _shoot_interruptions(browser, Path(folder), look, wanted)
        _shoot_parts(browser, Path(folder), look, wanted)
        _shoot_rehearsals(browser, Path(folder), look, wanted)
        shoot_plans(browser, Path(folder), look, wanted)
        _shoot_access(browser, Path(folder), look, wanted)


if __name__ == "__main__":
    with opened() as chromium:
        every_state(chromium, shot(Path(sys.argv[1])), *sys.argv[2:3])
