"""A daemon's voice over a real control socket, a real record, and the page between them."""

import math
import shutil
import socket
import socketserver
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from jinja2 import FileSystemBytecodeCache
from playwright.sync_api import Browser, Page
from pydantic import TypeAdapter

from daemon.api.effects import rows
from daemon.api.listen import Listen
from daemon.api.socket.access import AccessRequest
from daemon.api.socket.messages import (
    AlarmRequest,
    AlarmStatus,
    Answer,
    BathEntryRequest,
    CalibrateRequest,
    MeterStatus,
    RehearseRequest,
    Request,
    RippleStatus,
    RunStatus,
    SettleRequest,
    ShareStatus,
    StageStatus,
    StartRequest,
    Status,
    ThermometerStatus,
)
from daemon.api.socket.parts import PartRequest
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofStatus,
    ProofStepStatus,
    ProofWalkStatus,
)
from daemon.api.socket.rehearsal import (
    CurveMessage,
    MishapLine,
    MishapTold,
    RangeMessage,
    Rehearsal,
    StageForeseen,
    Taught,
)
from daemon.api.socket.settings import SettingSeen, SettingsSeen, SettingsTable
from daemon.bath.description import (
    Additive,
    Anodes,
    Description,
    Interval,
    Prices,
    Window,
)
from daemon.clock import SystemClock
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.record.entries import (
    AlarmChanged,
    AlarmRaised,
    Audited,
    BathEntered,
    CloseUpTaken,
    Entry,
    Noted,
    Part,
    ProofMade,
    ProofStep,
    RunOpened,
    Sample,
    Trace,
    TraceReading,
)
from daemon.record.interruptions import Restart
from daemon.record.recorder import Recorder
from daemon.record.store import RecordLock, open_writer
from daemon.record.writer import Writer
from web.app import create_app

LISTEN = Listen("127.0.0.1", 8080)
# What helps tests to read pages stands beside them.
sys.path.insert(0, str(Path(__file__).parent))

STARTED_MS = 1_772_395_200_000
"""1 March 2026, 20:00 UTC."""


def a_run(**changes: Any) -> RunStatus:
    fields: dict[str, Any] = {
        "run_id": 12,
        "title": "Bracket, left",
        "bath": "Copper 1",
        "started_utc": "2026-03-01T20:00:00+00:00",
        "running_s": 22200.0,
        "stage": 1,
        "stages": (
            StageStatus(name="Cover", current_a=0.5, state="done"),
            StageStatus(name="Build", current_a=3.5, state="under way"),
            StageStatus(name="Level", current_a=2.4, state="to come"),
        ),
        "area_dm2": 12.2,
        "charge_ah": 16.853,
        "gap_charge_ah": 0.0,
        "thickness_um": 18.2,
        "target_um": 25.0,
        "mass_g": 19.98,
        "metal": "copper",
        "remaining_s": 5400.0,
        "set_current_a": 3.5,
        "set_voltage_v": 4.0,
    }
    return RunStatus.model_validate(fields | changes)


def a_status(**changes: Any) -> Status:
    fields: dict[str, Any] = {
        "state": "running",
        "utc": "2026-03-02T02:10:00+00:00",
        "monotonic_s": 22300.0,
        "rate": 1.0,
        "current_a": 3.498,
        "voltage_v": 2.214,
        "reading_age_s": 0.3,
        "mode": "constant current",
        "output_on": True,
        "supply": "bench supply, 30 V 5 A",
        "run": a_run(),
        "bath": "Copper 1",
        "bath_charge_ah": 182.4,
    }
    return Status.model_validate(fields | changes)


def an_alarm(**changes: Any) -> AlarmStatus:
    """A whisker, seen a minute ago; nobody has pressed anything yet."""
    fields: dict[str, Any] = {
        "number": 3,
        "cause": "whisker",
        "priority": "medium",
        "life": "unacknowledged",
        "seen": "the voltage fell from 2.21 V to 1.84 V at 3.50 A, and is restless",
        "did": "Nothing was switched.",
        "check": "edges and hooks for a thin tree of copper towards the anode",
        "need": "Shake or brush it off: current that goes through it plates nothing, and it may "
        "short.",
        "raised_utc": "2026-03-02T02:09:00+00:00",
    }
    return AlarmStatus.model_validate(fields | changes)


def a_short(**changes: Any) -> AlarmStatus:
    """A short that has ended the run."""
    fields: dict[str, Any] = {
        "number": 4,
        "cause": "short",
        "priority": "high",
        "life": "returned, unacknowledged",
        "seen": "0.11 V at 3.50 A; 2.21 V a second before",
        "did": "The output was switched off at once; the run is over.",
        "check": "a part or hook touching an anode; a tree of copper at an edge; a dropped tool in "
        "the tank",
        "need": "Switch the supply off, part the electrodes, look at the part.",
        "first_out": True,
    }
    return an_alarm(**fields, **changes)


def a_measured_status(**changes: Any) -> Status:
    """A tank with a shunt that counts, two more meters, two thermometers, and its doubt told."""
    u_um = {
        "gain": 0.058,
        "offset": 0.031,
        "resolution": 0.0004,
        "noise": 0.0001,
        "clock": 0.001,
        "gaps": 0.02,
        "between readings": 0.0003,
        "area": 0.31,
        "efficiency": 0.093,
    }
    doubt = tuple(ShareStatus(name=name, u_um=u) for name, u in u_um.items())
    told = {"thickness_u95_um": 0.65, "doubt": doubt} | changes.pop("run", {})
    looked = RippleStatus(rms_percent=2.14, peak_to_peak_percent=7.38, age_s=20.0)
    seen = {"voltage_v": None, "age_s": 0.3}
    meters = (
        MeterStatus(name="supply", counts=False, current_a=3.512, raw_current_a=3.512,
                    explained_a=0.066, voltage_v=2.214, age_s=0.2),
        MeterStatus(name="shunt", counts=True, current_a=3.498, raw_current_a=3.502,
                    ripple=looked, **seen),
        MeterStatus(name="clamp", counts=False, current_a=3.46, raw_current_a=3.46,
                    explained_a=0.12, **seen),
    )  # fmt: skip
    warmth = (
        ThermometerStatus(name="room", temperature_c=19.24, age_s=4.0),
        ThermometerStatus(name="bath", temperature_c=24.62, age_s=3.0),
    )
    return a_status(**{"run": a_run(**told), "meters": meters, "thermometers": warmth} | changes)


PROOF_STEPS = (
    ("supply off by command", "below 0.020 A within 3.0 s, then held", "",
     "The run is held: the supply brings the current down and switches its output off."),
    ("interlock lid", "below 0.020 A within 3.0 s, then held",
     "Open the loop of 'lid' now, at the contact itself.",
     "The open loop holds the run: current down, output off."),
    ("interlock leak", "below 0.020 A within 3.0 s, then aborted",
     "Open the loop of 'leak' now, at the contact itself.",
     "The open loop aborts the run: output off at once."),
    ("contactor without its heartbeat", "below 0.020 A within 1.1 s, by the contactor", "",
     "The heartbeat ends while the supply goes on: the contactor has to open by itself."),
    ("siren", "it sounds", "Does the siren sound now?",
     "Nobody has acknowledged the last alarm: the siren is on."),
    ("message to phone", "it arrives", "Has the test message to 'phone' arrived?",
     "A test message is sent."),
)  # fmt: skip
SEEN = (
    "0.001 A after 0.42 s, then held", "0.000 A after 0.51 s, then held",
    "0.001 A after 0.22 s, then aborted", "0.000 A after 0.44 s: open circuit", "it does",
    "it has arrived",
)  # fmt: skip


def a_walk(step: int = 1, failed: int | None = None, **changes: Any) -> ProofWalkStatus:
    """A walk at a step; those before it have passed, but the one that `failed`."""
    steps = []
    over = len(PROOF_STEPS) if changes.get("ended") and step == len(PROOF_STEPS) - 1 else step
    for index, (name, expected, todo, happens) in enumerate(PROOF_STEPS):
        state: Any = "to come" if index > over else "under way"
        if changes.get("ended") and index >= over:
            state = "not reached"
        if index < over:
            state = "failed" if index == failed else "passed"
        seen = SEEN[index] if index < over else ""
        if index == failed and seen:
            seen = "0.198 A after 7.0 s"
        steps.append(
            ProofStepStatus(
                name=name, happens=happens, todo=todo, expected=expected, state=state, seen=seen
            )
        )
    fields: dict[str, Any] = {
        "id": "ab12cd34",
        "who": "anna, the page at 127.0.0.1",
        "began_utc": "2026-03-02T02:05:00+00:00",
        "step": step,
        "steps": tuple(steps),
    }
    return ProofWalkStatus(**(fields | changes))


def a_proof(**changes: Any) -> ProofStatus:
    """How it stands with the proof test of a tank with a contactor, two loops and a siren."""
    fields: dict[str, Any] = {
        "wanted": True,
        "required": False,
        "every_s": 90 * 86_400.0,
        "due_utc": "2026-05-21T12:00:00+00:00",
        "overdue": None,
        "steps": tuple(
            ProofStepStatus(name=name, happens=happens, todo=todo, expected=expected)
            for name, expected, todo, happens in PROOF_STEPS
        ),
        "not_proved": (),
        "refusal": None,
    }
    return ProofStatus(**(fields | changes))


def a_proof_made(failed: str | None = None, **changes: Any) -> ProofMade:
    """A proof test of 20 February 2026, noon UTC, as the record keeps it."""
    steps = tuple(
        ProofStep(name, expected, "0.198 A after 7.0 s" if name == failed else seen, name != failed)
        for (name, expected, _, _), seen in zip(PROOF_STEPS, SEEN, strict=True)
    )
    fields: dict[str, Any] = {"utc_ms": 1_771_588_800_000, "who": "anna", "steps": steps}
    return ProofMade(**(fields | changes))


def keep_proofs(path: Path, *made: ProofMade) -> None:
    writer = Writer(path, threaded=False)
    for each in made:
        writer.keep_proof(each)
    writer.close()


def a_range(middle: float, share: float = 0.1) -> RangeMessage:
    """A middle, and so much less and more."""
    return RangeMessage(least=middle * (1 - share), middle=middle, greatest=middle * (1 + share))


def a_rehearsal(**changes: Any) -> Rehearsal:
    """Seven hours and a half at 3.5 A, with a voltage that falls and a bath that warms."""
    times = tuple(27_000.0 * k / 60 for k in range(61))

    def curve(name: str, unit: str, at: Callable[[float], float], share: float) -> CurveMessage:
        middle = tuple(at(t) for t in times)
        return CurveMessage(
            name=name, unit=unit, middle=middle,
            least=tuple(v * (1 - share) for v in middle),
            greatest=tuple(v * (1 + share) for v in middle),
        )  # fmt: skip

    found = Rehearsal(
        title="Bracket, left", bath="Copper 1", target_um=25.0, area_dm2=12.2, because=(),
        draws=39, completes=39, duration_s=a_range(26_000.0, 0.03), charge_ah=a_range(23.1, 0.0),
        thickness_um=a_range(25.0, 0.0), energy_kwh=a_range(0.051), mains_kwh=0.064,
        hottest_c=a_range(27.0, 0.04), hottest_at_s=26_000.0,
        stages=(
            StageForeseen(
                name="strike over paint", current_a=1.2, begins_s=a_range(0.0),
                ends_s=a_range(1500.0), charge_ah=a_range(0.4), voltage_v=a_range(1.4, 0.2),
                ended_by="cell voltage", draws=39,
            ),
            StageForeseen(
                name="full current", current_a=3.5, begins_s=a_range(1500.0),
                ends_s=a_range(26_000.0, 0.03), charge_ah=a_range(22.7), voltage_v=a_range(2.2),
                ended_by="target", draws=39,
            ),
        ),
        dues=("5 mL of brightener falls due after 4.90 Ah of this run, in about 1 h 25 min",),
        taught=Taught(runs=6, warm_runs=6, start_c=23.4, start_by="as it is now"),
        times_s=times,
        curves=(
            curve("Current", "A", lambda t: min(3.5, 1.2 + t / 900), 0.01),
            curve("Voltage", "V", lambda t: 2.2 + 0.8 * math.exp(-t / 2000), 0.1),
            curve("Bath", "°C", lambda t: 27.0 - 3.6 * math.exp(-t / 9000), 0.03),
            curve("Thickness", "µm", lambda t: 25.0 * t / 27_000, 0.02),
        ),
        mishaps=(
            MishapTold(
                title="short at 4:12",
                lines=(
                    MishapLine(at_s=15_120.0, text="a part touches an anode"),
                    MishapLine(
                        at_s=15_120.5,
                        text="alarm, high priority: short: 0.11 V at 3.50 A; 2.21 V 1.0 s before",
                    ),
                    MishapLine(at_s=15_120.5, text="tankhand aborts the run: output off at once"),
                ),
                needs=("Switch the supply off, part the electrodes, look at the part.",),
            ),
        ),
    )  # fmt: skip
    return found.model_copy(update=changes)


SOME_SETTINGS = SettingsSeen(
    path="/etc/tankhand/settings.toml",
    tables=(
        SettingsTable(
            head="[supply]",
            rows=(
                SettingSeen(key="port", value="/dev/ttyUSB0", given=True, about="the serial port"),
                SettingSeen(key="accuracy.gain", value="1 %", given=False, about="of the reading"),
            ),
            unset=("greatest_current", "accuracy.noise"),
        ),
        SettingsTable(head="[[meter]]", name="shunt", unset=("period",)),
        SettingsTable(
            head="[thresholds]",
            rows=(
                SettingSeen(key="bath_hot", value="34 °C", given=True),
                *(SettingSeen(key=f"t{n}", value=f"{n} s", given=False) for n in range(30)),
            ),
        ),
    ),
    absent=("[contactor]", "[[interlock]]"),
)


class Peer:
    """What the page takes for the daemon: tells `status`, keeps what it was asked, may refuse."""

    def __init__(self, path: Path, status: Status) -> None:
        self.path = path
        self.status = status
        self.after: dict[str, Any] = {}
        """What of it becomes another with the next act: a page that asks before sees the old."""
        self.refusal: str | None = None
        self.unusable = False
        self.warning: str | None = None
        self.table = DEFAULT_TABLE
        self.settings = SOME_SETTINGS
        self.acts: list[tuple[str, str]] = []
        self.calibrations: list[CalibrateRequest] = []
        self.attended: list[AlarmRequest] = []
        self.entered: list[BathEntryRequest] = []
        self.proof = a_proof()
        self.proved: list[Any] = []
        self.foreseen: tuple[str, ...] = ()
        self.why_not: str | None = None
        self.started: list[StartRequest] = []
        self.settled: list[SettleRequest] = []
        self.kept_parts: list[PartRequest] = []
        self.notes: tuple[str, ...] = ()
        self.rehearsal = a_rehearsal()
        self.rehearsed: list[RehearseRequest] = []
        self.signed: list[AccessRequest] = []
        self.asked = 0
        self._server: socketserver.BaseServer | None = None

    def start(self) -> None:
        self.path.unlink(missing_ok=True)
        answer = self._answer

        class Handler(socketserver.StreamRequestHandler):
            def handle(self) -> None:
                self.wfile.write(answer(self.rfile.readline()) + b"\n")

        server = socketserver.ThreadingUnixStreamServer(str(self.path), Handler)
        self._server = server
        # A test that fails before it stops this one must not keep the others waiting.
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()

    def stop(self) -> None:
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
            self.path.unlink()

    def _answer(self, line: bytes) -> bytes:
        request = TypeAdapter[Any](Request).validate_json(line)
        if request.ask == "status":
            self.asked += 1
            return Answer(ok=True, status=self.status).model_dump_json().encode()
        if request.ask == "effects":
            return Answer(ok=True, effects=rows(self.table)).model_dump_json().encode()
        if request.ask == "settings":
            return Answer(ok=True, settings=self.settings).model_dump_json().encode()
        if request.ask == "proof":
            return Answer(ok=True, proof=self.proof).model_dump_json().encode()
        if isinstance(request, StartRequest) and request.check:
            if self.why_not is not None:
                return Answer(ok=False, error=self.why_not).model_dump_json().encode()
            answer = Answer(ok=True, status=self.status, notes=self.foreseen)
            return answer.model_dump_json().encode()
        if self.refusal is not None:
            answer = Answer(ok=False, error=self.refusal, unusable=self.unusable)
            return answer.model_dump_json().encode()
        vars(self).update(self.after)
        self.after = {}
        if isinstance(request, RehearseRequest):
            self.rehearsed.append(request)
            return Answer(ok=True, rehearsal=self.rehearsal).model_dump_json().encode()
        if isinstance(request, AccessRequest):
            self.signed.append(request)
            return Answer(ok=True, status=self.status).model_dump_json().encode()
        if isinstance(request, CalibrateRequest):
            self.calibrations.append(request)
        if isinstance(request, BathEntryRequest):
            self.entered.append(request)
            return Answer(ok=True, status=self.status, entry=1).model_dump_json().encode()
        if isinstance(request, PartRequest):
            self.kept_parts.append(request)
            answer = Answer(ok=True, status=self.status, entry=7, notes=self.notes)
            return answer.model_dump_json().encode()
        if isinstance(request, BeginProofRequest | AnswerProofRequest | EndProofRequest):
            self.proved.append(request)
            answer = Answer(ok=True, status=self.status, proof=self.proof)
            return answer.model_dump_json().encode()
        if isinstance(request, StartRequest):
            self.started.append(request)
            answer = Answer(ok=True, status=self.status, warning=self.warning)
            return answer.model_dump_json().encode()
        if isinstance(request, SettleRequest):
            self.settled.append(request)
        if isinstance(request, AlarmRequest):
            self.attended.append(request)
        self.acts.append((request.ask, request.who))
        return Answer(ok=True, status=self.status).model_dump_json().encode()


def samples(run_id: int, hours: float, every_s: float) -> Iterator[Sample]:
    """A painted part covered at 0.5 A, then built up at 3.5 A; a gentle wave stands for noise."""
    charge_ah = before_a = 0.0
    for i in range(int(hours * 3600 / every_s) + 1):
        t = i * every_s
        current_a = 0.5 if t < 1800 else min(3.5, 0.5 + (t - 1800) / 300)
        current_a += 0.02 * math.sin(i * 1.7)
        voltage_v = 0.6 + 0.45 * current_a + 2.4 * math.exp(-t / 500) + 0.02 * math.sin(i * 2.3)
        charge_ah += (current_a + before_a) / 2 * every_s / 3600 if i else 0.0
        before_a = current_a
        yield Sample(run_id, t, current_a, voltage_v, 3.5, charge_ah)


def write_record(path: Path, hours: float = 2.0, every_s: float = 2.0, plan: str = "") -> None:
    opened = RunOpened(
        run_id=12,
        bath="Copper 1",
        title="Bracket, left",
        plan=plan,
        metal="copper",
        area_dm2=12.2,
        target_um=25.0,
        who="anna",
        utc_ms=STARTED_MS,
        monotonic_s=100.0,
        boot_id="boot",
        clock_synchronised=True,
    )
    write_entries(path, [opened, *samples(12, hours, every_s)])


def cut_short(path: Path, lasted_s: float | None = 300.0, plan: str = "") -> None:
    """A record whose run 12 lasted for half an hour, and was then cut short for so long."""
    write_record(path, hours=0.5, plan=plan)
    writer = Writer(path, threaded=False)
    boot = "boot" if lasted_s is not None else "another boot"
    restart = Restart(
        100.0 + 1800.0 + (lasted_s or 0.0), STARTED_MS + 3600_000, boot,
        clock_synchronised=None if lasted_s is not None else False, greatest_a=lambda *_: 3.5,
    )  # fmt: skip
    writer.close_unfinished("the daemon stopped during this run", restart)
    writer.close()


def write_entries(path: Path, entries: list[Entry]) -> None:
    with RecordLock(path):
        engine = open_writer(path)
        Recorder(engine, SystemClock()).write(entries)
        engine.dispose()


ALARM_MS = STARTED_MS + 6 * 3600_000 + 9 * 60_000 + 14_000
"""2 March 2026, 02:09:14 UTC: when the short came."""

ALARM_S = 22_254.0 + 100.0


def a_raised(number: int, **changes: Any) -> AlarmRaised:
    fields: dict[str, Any] = {
        "number": number,
        "run_id": 12,
        "cause": "short",
        "priority": "high",
        "seen": "0.11 V at 3.50 A; 2.21 V a second before",
        "figures": {},
        "utc_ms": ALARM_MS,
        "monotonic_s": ALARM_S,
        "boot_id": "boot",
    }
    return AlarmRaised(**(fields | changes))


def a_change(number: int, what: str, after_s: float, **changes: Any) -> AlarmChanged:
    fields: dict[str, Any] = {
        "who": None,
        "utc_ms": ALARM_MS + round(after_s * 1000),
        "monotonic_s": ALARM_S + after_s,
    }
    return AlarmChanged(number, what, **(fields | changes))


def a_close_up(number: int, *, both: bool = True) -> list[CloseUpTaken]:
    """A short, read by the shunt at 10/s and the supply at 4/s: 3.5 A, and 2.21 V falls to 0.11."""

    def taken(part: Part, from_s: float, to_s: float) -> CloseUpTaken:
        def trace(meter: str, per_s: int, *, is_supply: bool) -> Trace:
            times = [k / per_s for k in range(round(from_s * per_s), round(to_s * per_s))]
            seen = [_around_short(t, is_supply=is_supply) for t in times]
            return Trace(meter, not is_supply, tuple(seen))

        traces = (trace("shunt", 10, is_supply=False), trace("supply", 4, is_supply=True))
        return CloseUpTaken(number, part, ALARM_S, from_s, to_s, traces)

    parts = [taken(Part.BEFORE, -60.0, 0.0), taken(Part.AFTER, 0.0, 30.0)]
    return parts if both else parts[:1]


def _around_short(t: float, *, is_supply: bool) -> TraceReading:
    noise = 0.02 * math.sin(37.0 * t) * math.cos(11.0 * t)
    on = t < 0.3
    current_a = (3.5 if t < -0.4 else 3.52) + noise if on else 0.0
    voltage_v = ((2.21 if t < -0.4 else 0.11) + noise) if on else max(0.0, 0.04 - 0.01 * t)
    if is_supply:
        return TraceReading(ALARM_S + t, current_a * 1.004, voltage_v, 3.5 if on else 0.0)
    return TraceReading(ALARM_S + t, current_a, None, None)


def alarm_entries() -> list[Entry]:
    """Alarms 1 to 4: one of last year, one that is over, a short that has aborted, a whisker."""
    return [
        a_raised(
            1, cause="clock stepped", priority="low", seen="set by +3600.0 s", run_id=None,
            utc_ms=ALARM_MS - 100 * 24 * 3600_000,
        ),
        a_change(1, "daemon ended", 0.0, text="the daemon ended", monotonic_s=None),
        a_raised(2, cause="bath too cold", priority="low", seen="16.9 °C, at least 18 °C is wanted",
                 utc_ms=ALARM_MS - 3600_000, monotonic_s=ALARM_S - 3600),
        a_change(2, "shelved", -3590.0, who="anna", text="for 1 h 00 min"),
        a_change(2, "returned", -3000.0),
        a_change(2, "unshelved", -100.0),
        a_change(2, "raised again", -90.0, text="17.2 °C, at least 18 °C is wanted"),
        a_change(2, "acknowledged", -80.0, who="ben, the page at 127.0.0.1"),
        a_change(2, "returned", -60.0),
        a_change(2, "cleared", -60.0),
        a_raised(3, utc_ms=ALARM_MS),
        a_change(3, "stopped the run", 0.0, text="abort", data={"first_out": True}),
        a_change(3, "returned", 0.4),
        a_change(3, "acknowledged", 300.0, who="anna"),
        *a_close_up(3),
        a_raised(4, cause="whisker", priority="medium",
                 seen="the voltage fell from 2.21 V to 1.84 V at 3.50 A"),
        *a_close_up(4, both=False),
    ]  # fmt: skip


def audit_entries(count: int = 3) -> list[Entry]:
    acts = (
        ("anna", "terminal of anna", "start", "Bracket, left", None),
        ("the page at 127.0.0.1", "page, 127.0.0.1", "acknowledge", "alarm 3", None),
        ("ben", "control socket", "resume", "",
         "resume is not possible while aborted; possible: reset"),
    )  # fmt: skip
    return [
        Audited(STARTED_MS + k * 60_000, who, origin, what, detail, refused)
        for k, (who, origin, what, detail, refused) in (
            (k, acts[k % len(acts)]) for k in range(count)
        )
    ]


BATH = Description(
    "Copper 1",
    volume_l=15.0,
    brim_l=18.0,
    window={
        "copper": Window(45.0, 50.0, 60.0),
        "sulfuric acid": Window(50.0, 60.0, 75.0),
        "chloride": Window(50.0, 60.0, 120.0),
    },
    additives=(
        Additive("brightener", 150.0, 5.0, 1.6),
        Additive("carrier", 80.0, 10.0, 7.8),
    ),
    anodes=Anodes(4.0, 2000.0, 2.0, 500.0),
    filtration=Interval(100.0, 30 * 86_400.0),
    carbon=Interval(1000.0, 180 * 86_400.0),
    drag_out_ml_dm2=1.0,
    prices=Prices("EUR", 12.5, 0.32, {"brightener": 38.0}),
)
"""A bath as its owner has described it in full."""

DAY_MS = 86_400_000


def keep_bath(path: Path, *entries: BathEntered, description: Description = BATH) -> None:
    """Put into a record how the bath is described, and what was entered of it."""
    at_ms = STARTED_MS - 60 * DAY_MS
    told = description.to_json()
    writer = Writer(path, threaded=False)
    writer.keep_bath_entry(
        BathEntered(description.name, "description", "tankhand", at_ms, at_ms, facts=told)
    )
    for each in entries:
        writer.keep_bath_entry(each)
    writer.close()


def an_entry(
    kind: str, amounts: dict[str, float] | None = None, days: float = 10.0, **facts: Any
) -> BathEntered:
    """An entry of so many days before the run."""
    at_ms = STARTED_MS - round(days * DAY_MS)
    return BathEntered("Copper 1", kind, "anna", at_ms, at_ms, amounts or {}, facts)


def web_command(control: Path, record: Path, listen: str) -> list[str]:
    where = ["--socket", str(control), "--record", str(record), "--listen", listen]
    return [sys.executable, "-m", "web", *where]


@contextmanager
def serving(
    control: Path, record: Path, listen: str | None = None, more: Sequence[str] = ()
) -> Iterator[str]:
    """The page in a process of its own, as it runs in earnest; gives its address.

    more: of its command line.
    """
    listen = listen or f"127.0.0.1:{free_port()}"
    process = subprocess.Popen(
        [*web_command(control, record, listen), *more], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout
    try:
        assert process.stdout.readline() == f"page: http://{listen}\n"
        yield f"http://{listen}"
    finally:
        process.terminate()
        process.wait()
        process.stdout.close()


def free_port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def peer(tmp_path: Path) -> Iterator[Peer]:
    peer = Peer(tmp_path / "control.sock", a_status())
    peer.start()
    yield peer
    peer.stop()


@pytest.fixture(scope="session")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("record") / "record.db"
    write_record(path)
    return path


@pytest.fixture
def alarm_record(tmp_path: Path) -> Path:
    """A record with a night's alarms, and what people asked for."""
    path = tmp_path / "alarms.db"
    write_record(path, hours=0.05)
    write_entries(path, [*alarm_entries(), *audit_entries()])
    return path


@pytest.fixture
def more_alarms() -> Callable[..., None]:
    """Raise one more alarm in a record."""

    def add(path: Path, number: int, **changes: Any) -> None:
        write_entries(path, [a_raised(number, **changes)])

    return add


@pytest.fixture
def more_asked() -> Callable[[Path, Sequence[Audited]], None]:
    """Put more acts into a record."""
    return lambda path, acts: write_entries(path, list(acts))


@pytest.fixture
def make_page_of(peer: Peer) -> Iterator[Callable[[Path], str]]:
    """The page in its own process over another record; gives its address."""
    with ExitStack() as stack:
        yield lambda record: stack.enter_context(serving(peer.path, record))


@pytest.fixture
def make_status() -> Callable[..., Status]:
    return a_status


@pytest.fixture
def measured() -> Callable[..., Status]:
    return a_measured_status


@pytest.fixture
def whisker() -> Callable[..., AlarmStatus]:
    return an_alarm


@pytest.fixture
def proof() -> Callable[..., ProofStatus]:
    return a_proof


@pytest.fixture
def walk() -> Callable[..., ProofWalkStatus]:
    return a_walk


@pytest.fixture
def cut(tmp_path: Path) -> Callable[..., Path]:
    """Make a record whose run was cut short, by keywords of `cut_short`."""

    def make(name: str = "cut", **more: Any) -> Path:
        path = tmp_path / f"{name}.db"
        cut_short(path, **more)
        return path

    return make


@pytest.fixture
def keep() -> Callable[..., None]:
    """Keep proof tests in a record: the step that failed, how many, fields of `ProofMade`."""

    def add(path: Path, failed: str | None = None, times: int = 1, **changes: Any) -> None:
        keep_proofs(path, *times * [a_proof_made(failed, **changes)])

    return add


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A record with two proof tests: one of 19 February, which failed, and one of the 20th."""
    path = tmp_path / "proofs.db"
    write_record(path, hours=0.05)
    failed = a_proof_made("interlock leak", utc_ms=1_771_502_400_000, who="ben")
    keep_proofs(path, failed, a_proof_made())
    return path


@pytest.fixture
def make_page_at(peer: Peer, record: Path) -> Callable[[], AbstractContextManager[str]]:
    """The page in a process of its own, again and again at the same address."""
    listen = f"127.0.0.1:{free_port()}"
    return lambda: serving(peer.path, record, listen)


@pytest.fixture
def run() -> RunStatus:
    return a_run()


@pytest.fixture(scope="session")
def templates(tmp_path_factory: pytest.TempPathFactory) -> FileSystemBytecodeCache:
    """The templates as they were translated for the first test that showed them."""
    return FileSystemBytecodeCache(str(tmp_path_factory.mktemp("templates")))


@pytest.fixture
def make_client(
    peer: Peer, monkeypatch: pytest.MonkeyPatch, templates: FileSystemBytecodeCache
) -> Callable[[Path], FlaskClient]:
    """A client of a page that asks the daemon anew at each look."""
    monkeypatch.setattr("web.tank.KEEP_S", -1.0)

    def make(record: Path) -> FlaskClient:
        app = create_app(peer.path, record, LISTEN)
        app.jinja_env.bytecode_cache = templates
        return app.test_client()

    return make


@pytest.fixture
def client(make_client: Callable[[Path], FlaskClient], record: Path) -> FlaskClient:
    return make_client(record)


@pytest.fixture(scope="session")
def make_bath_record(tmp_path_factory: pytest.TempPathFactory, record: Path) -> Callable[..., Path]:
    """A record of a night's run, with a bath that is described in full, and entries of it.

    Each entry is its kind, amounts, how many days before the run, and facts.
    """

    def make(*entries: tuple[str, dict[str, float], float, dict[str, Any]]) -> Path:
        path = Path(shutil.copy(record, tmp_path_factory.mktemp("bath") / "bath.db"))
        made = (an_entry(kind, amounts, days, **facts) for kind, amounts, days, facts in entries)
        keep_bath(path, *made)
        return path

    return make


@pytest.fixture(scope="session")
def described(make_bath_record: Callable[..., Path]) -> Path:
    return make_bath_record()


@pytest.fixture
def bath_record(tmp_path: Path, described: Path) -> Path:
    """One without entries, to put some into."""
    return Path(shutil.copy(described, tmp_path / "bath.db"))


@pytest.fixture
def foretell() -> Callable[[Path, Rehearsal], None]:
    """Keep with run 12 of a record what it was foretold."""

    def keep(path: Path, found: Rehearsal) -> None:
        data: dict[str, Any] = {"rehearsal": found.model_dump_json()}
        write_entries(path, [Noted(12, "foretold", "would work", STARTED_MS, 100.0, data)])

    return keep


@pytest.fixture
def enter_bath() -> Callable[..., None]:
    """Put entries into a bath's account: a record, then kind, amounts, days ago and facts."""

    def add(path: Path, kind: str, *args: Any, **facts: Any) -> None:
        writer = Writer(path, threaded=False)
        writer.keep_bath_entry(an_entry(kind, *args, **facts))
        writer.close()

    return add


@pytest.fixture
def port() -> int:
    return free_port()


@pytest.fixture
def command(peer: Peer, record: Path) -> Callable[[str], list[str]]:
    """The page's command line for an address to listen on."""
    return lambda listen: web_command(peer.path, record, listen)


@pytest.fixture
def address(peer: Peer, record: Path) -> Iterator[str]:
    with serving(peer.path, record) as address:
        yield address


@pytest.fixture
def plain_phone(browser: Browser) -> Iterator[Page]:
    """A small page without scripts."""
    context = browser.new_context(java_script_enabled=False, viewport={"width": 360, "height": 740})
    page = context.new_page()
    yield page
    context.close()
