"""The control socket over a real Unix socket: askers of every kind, and whose socket it is."""

import json
import socket
import stat
import threading
from types import SimpleNamespace

import pytest
from sqlalchemy.exc import OperationalError

from daemon.api.effects import rows
from daemon.api.errors import InputError
from daemon.api.plans.known import Known, Sure
from daemon.api.plans.proof import proof_plan
from daemon.api.socket.access import AccessRequest
from daemon.api.socket.client import Client
from daemon.api.socket.messages import (
    ActRequest,
    AlarmRequest,
    BathEntryRequest,
    CalibrateRequest,
    EffectsRequest,
    RehearseRequest,
    RunStatus,
    SettingsRequest,
    SettleRequest,
    StartRequest,
    Status,
    WithholdRequest,
)
from daemon.api.socket.parts import PartRequest
from daemon.api.socket.plans import (
    CheckPlanRequest,
    DropPlanRequest,
    InterlockSeen,
    KeepPlanRequest,
)
from daemon.api.socket.proof import (
    AnswerProofRequest,
    BeginProofRequest,
    EndProofRequest,
    ProofRequest,
    ProofStatus,
)
from daemon.api.socket.rehearsal import Rehearsal
from daemon.api.socket.settings import SettingsSeen, SettingsTable
from daemon.bath.anodes import AnodesLeft
from daemon.bath.dosing import Tally
from daemon.bath.due import Dues
from daemon.chemistry.calibration import Point
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.clock import SystemClock
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.situation import AlarmAct, Carried
from daemon.control.states import Act
from daemon.record import audits
from daemon.record.entries import Reckoning, RunOpened
from daemon.record.errors import NoSuchPartError, NotSettledError
from daemon.record.parts import Part
from daemon.record.queries import one_run
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.cycle.runner import Withhold
from daemon.service.keeping.bath import Kept
from daemon.service.keeping.words import Words
from daemon.service.socket import server as server_module
from daemon.service.socket.server import ControlServer, Desk, SocketUnusableError
from drivers.contracts import Rating
from tests.plates import PLATE as PLAN

RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
PANEL = Panel({"supply": MeterFacts(Correction(), NO_DOUBT)}, "supply", fresh_s=1.0)

STATUS = Status(
    state="idle",
    utc="2026-11-25T00:00:00+00:00",
    monotonic_s=1.0,
    rate=1.0,
    current_a=0.0,
    voltage_v=0.0,
    reading_age_s=0.1,
    mode=None,
    output_on=False,
    supply="A,B,1,2",
    run=None,
    bath="bath",
    bath_charge_ah=0.0,
)


class Plans:
    """Keeps what it is told to, and notes what was rehearsed."""

    def __init__(self):
        self.kept, self.dropped, self.noted = [], [], []

    def keep(self, request):
        if request.name == "..":
            raise InputError("name", ("must be a name",))
        self.kept.append(request)

    def drop(self, request):
        self.dropped.append(request)

    def rehearsed(self, plan, *, works):
        self.noted.append((plan, works))


class Loop:
    """Takes orders and answers them at once, unless it is told to keep them."""

    def __init__(self):
        self.orders = []
        self.error = None
        self.silent = False
        self.calibrations = []
        self.trouble = None
        self.settled = []
        self.signed_in = []
        self.entered = []
        self.dues = Dues()
        self.unproved = None
        self.before = None
        self.late = None
        self.said = []
        self.parts = []
        self.rehearsals, self.foretold = [], []
        self.plans, self.not_now = Plans(), ()
        self.status = STATUS

    def rehearse(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.rehearsals.append(request)
        return Rehearsal(title="Plate", bath="bath", target_um=10.0, area_dm2=1.0, because=("no",))

    def foretell(self, run_id, request):
        self.foretold.append((run_id, request))

    def settle(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.settled.append(request)

    def enter(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.entered.append(request)
        return Kept(12, ("the brim is near",))

    def unfinished(self, _):
        if self.trouble is not None:
            raise self.trouble
        return self.before

    def calibrate(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.calibrations.append(request)

    def not_kept(self, limit_s):
        self.said.append(("kept?", self.orders[-1].answered.is_set(), limit_s))
        return self.late

    def keep_part(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.parts.append(request)
        number = len(self.parts)
        return Part(number, request, number - 1 or None)

    def known(self, tell):
        def area(name, copies):
            if name != "foot":
                raise NoSuchPartError(f"no part {name!r} is kept; kept: foot")
            tell(f"area {0.4 * copies:g} dm²")
            return Sure(0.4 * copies, 0.1)

        return Known(area)

    def submit(self, order):
        self.orders.append(order)
        if not self.silent and order.take():
            order.answer(self.error)


class Prover:
    """Takes what the server hands on; `trouble` is raised instead."""

    def __init__(self):
        self.under_way = self.begun = self.trouble = None
        self.pumps = False
        self.told = []

    def plan(self, asked):
        return StartRequest(plan=proof_plan(asked.current_a, asked.ceiling_v), who=asked.who)

    def begin(self, asked, ask):
        self.begun = (asked, ask)

    def answer(self, request):
        if self.trouble is not None:
            raise self.trouble
        self.told.append(request)

    give_up = interrupt = answer

    def status(self):
        return ProofStatus(
            wanted=True, required=False, every_s=7776000.0, due_utc=None, overdue=None, steps=(),
            not_proved=(), refusal=None,
        )  # fmt: skip


BEGIN = BeginProofRequest(who="Ann", current_a=0.2, ceiling_v=3.0)


@pytest.fixture
def prover():
    return Prover()


@pytest.fixture
def loop():
    return Loop()


@pytest.fixture
def path(tmp_path):
    return tmp_path / "control.sock"


@pytest.fixture
def serve(path, loop, prover):
    """Start a server, by default at `path`; all are stopped at the end."""
    servers = []

    def start(at=path):
        server = ControlServer(
            at, lambda: loop.status, loop.submit, RATING, PANEL,
            Desk(
                loop.calibrate, loop.settle, loop.enter, lambda: loop.dues, loop.unfinished,
                lambda: loop.unproved, loop.not_kept, loop.keep_part, loop.known,
                loop.rehearse, loop.foretell, loop.signed_in.append, loop.plans,
                lambda: loop.not_now, lambda: (InterlockSeen(name="lid", is_open=True),),
            ),
            prover,
            rows(DEFAULT_TABLE),
            lambda: SEEN,
        )  # fmt: skip
        server.start()
        servers.append(server)
        return server

    yield start
    for server in servers:
        server.stop()


@pytest.fixture
def client(serve, path):
    serve()
    return Client(path, timeout_s=10.0)


def say(path, data, *, end=True):
    """Send raw bytes and give all that is answered, as JSON."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
        connection.settimeout(10)
        connection.connect(str(path))
        connection.sendall(data)
        if end:
            connection.shutdown(socket.SHUT_WR)
        answer = b""
        while part := connection.recv(65536):
            answer += part
    return json.loads(answer) if answer else None


# What is asked.


SEEN = SettingsSeen(path="/etc/s.toml", tables=(SettingsTable(head="[loop]", unset=("gap",)),))


def test_status_is_told(client):
    assert client.status() == STATUS


def test_the_cause_and_effect_table_is_told(client):
    answer = client.ask(EffectsRequest())
    short = next(row for row in answer.effects if row.cause == "short")
    assert (short.priority, short.stop, short.after, short.siren) == (
        "high", "abort", "at once", True,
    )  # fmt: skip
    assert short.check.startswith("a part or hook touching an anode")
    assert answer.status is None


def test_the_settings_in_force_are_told(client):
    answer = client.ask(SettingsRequest())
    assert (answer.ok, answer.settings, answer.status) == (True, SEEN, None)


def test_an_act_reaches_the_loop_with_its_person(client, loop):
    answer = client.ask(ActRequest(ask="hold", who="Ann"))
    assert answer.ok
    assert answer.status == STATUS
    assert [(order.act, order.who) for order in loop.orders] == [(Act.HOLD, "Ann")]


def test_an_act_on_an_alarm_reaches_the_loop_with_its_number(client, loop):
    assert client.ask(AlarmRequest(ask="shelve", who="Ann", alarm=3, for_s=60.0)).ok
    assert client.ask(AlarmRequest(ask="acknowledge", who="Ann")).ok
    assert [order.act for order in loop.orders] == [
        AlarmAct("shelve", "Ann", 3, 60.0), AlarmAct("acknowledge", "Ann"),
    ]  # fmt: skip


def test_a_word_on_an_interruption_is_kept(client, loop):
    request = SettleRequest(run=3, charge_ah=0.2, who="Ann", note="the supply was off too")
    assert client.ask(request).ok
    assert loop.settled == [request]
    loop.trouble = NotSettledError("run 3: no interruption of it is known")
    answer = client.ask(request)
    assert (answer.ok, answer.error) == (False, "run 3: no interruption of it is known")


def test_who_signs_in_on_the_page_is_kept_in_the_audit(client, loop, tmp_path):
    asked = AccessRequest(ask="sign in", who="anna", where="page, 192.168.1.20", refused="wrong")
    assert client.ask(asked).ok
    assert loop.signed_in == [asked]
    writer = Writer(tmp_path / "signed.sqlite", threaded=False)
    words = Words(writer, lambda _: None, SystemClock())
    words.access(asked)
    words.access(AccessRequest(ask="sign out", who="ben; DROP TABLE audit", where="x" * 120))
    words.access(AccessRequest(ask="make an operator", who="root", about="anna"))
    writer.close()
    engine = open_reader(tmp_path / "signed.sqlite")
    with engine.connect() as connection:
        kept = [entry.act for entry in audits.page(connection)]
    engine.dispose()
    assert [(act.what, act.who, act.origin, act.detail, act.refused) for act in kept] == [
        ("make an operator", "root", "control socket", "anna", None),
        ("sign out", "ben; DROP TABLE audit", "x" * 120, "", None),
        ("sign in", "anna", "page, 192.168.1.20", "", "wrong"),
    ]


def test_an_entry_of_the_bath_is_kept_and_its_number_told(client, loop, path):
    request = BathEntryRequest(kind="dose", amounts={"brightener": 5.0}, who="Ann")
    answer = client.ask(request)
    assert (answer.ok, answer.entry, answer.notes) == (True, 12, ("the brim is near",))
    assert loop.entered == [request]
    loop.trouble = InputError("dose", ("leveller: no such additive",))
    answer = client.ask(request)
    assert (answer.ok, answer.error, answer.entry) == (
        False, "dose: leveller: no such additive", None,
    )  # fmt: skip
    said = say(path, b'{"ask": "bath entry", "who": "Ann", "kind": "magic"}\n')
    assert said["ok"] is False
    assert "kind" in said["error"]


def test_a_part_is_kept_and_what_it_takes_the_place_of_is_told(client, loop):
    request = PartRequest(name="foot", made_from="foot.stl", area_dm2=0.4, u95_dm2=0.04, who="Ann")
    answer = client.ask(request)
    assert (answer.ok, answer.entry, answer.notes) == (True, 1, ())
    answer = client.ask(request)
    assert (answer.entry, answer.notes) == (2, ("takes the place of part 1",))
    assert loop.parts == [request, request]
    loop.trouble = InputError("picture", ("must be a PNG file in Base64",))
    answer = client.ask(request)
    assert (answer.ok, answer.error) == (False, "picture: must be a PNG file in Base64")


def test_a_plan_may_name_a_kept_part(client, loop):
    plan = PLAN.replace('area = "1 dm²"', 'part = "foot"\ncopies = 2')
    answer = client.ask(StartRequest(plan=plan, who="Ann"))
    assert answer.ok
    assert answer.notes == ("area 0.8 dm²",)
    assert loop.orders[0].plan.area_dm2 == pytest.approx(0.8)
    assert loop.orders[0].plan.area_u == pytest.approx(0.1 / 1.960, rel=1e-4)


def test_a_plan_with_a_part_that_is_not_kept_is_refused(client, loop):
    plan = PLAN.replace('area = "1 dm²"', 'part = "knob"')
    answer = client.ask(StartRequest(plan=plan, who="Ann"))
    assert (answer.ok, answer.error) == (
        False, "plan: part: no part 'knob' is kept; kept: foot",
    )  # fmt: skip
    assert loop.orders == []


# 10 µm of copper on 1 dm² are 0.756 A·h (13.23 µm by 1 A·h, CODATA 2018); at 2 A, 22.7 min.


def test_a_start_says_what_falls_due_before_the_runs_end(client, loop):
    """4.9 of 5 mL are open, and 150 mL/kAh use 0.1 mL in 0.67 A·h."""
    loop.dues = Dues((Tally("brightener", 150.0, 5.0, 0.0, 4.9),))
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert answer.ok
    assert answer.notes == (
        "5 mL of brightener falls due after 0.67 Ah of this run, in about 20 min",
    )
    assert len(loop.orders) == 1


def test_a_check_starts_nothing_and_needs_no_proof(client, loop):
    loop.dues = Dues((Tally("brightener", 150.0, 5.0, 0.0, 12.0),))
    loop.unproved = "the ways to stop were never proved here"
    answer = client.ask(StartRequest(plan=PLAN, who="Ann", check=True))
    assert (answer.ok, answer.status) == (True, STATUS)
    assert answer.notes == (
        "the plan can work: 0.7558 Ah in about 23 min at its currents",
        "2 doses of 5 mL of brightener now, overdue by 46.7 Ah",
    )
    answer = client.ask(StartRequest(plan=PLAN.replace("2 A", "50 A"), who="Ann", check=True))
    assert not answer.ok
    assert "plan cannot work" in answer.error
    assert loop.orders == []


def test_a_plan_that_asks_for_more_than_the_anodes_bear_is_told_so(client, loop):
    """2 A on 0.8 dm² of anodes, which bear 1.6 A."""
    loop.dues = Dues(anodes=AnodesLeft(None, None, None, 0.8, 1.6, worn=False))
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert answer.ok
    assert answer.notes[0].startswith("the plan's 2 A are 2.5 A/dm² on 0.8 dm² of anodes")


def test_a_start_that_is_refused_has_no_notes(client, loop):
    loop.dues = Dues((Tally("brightener", 150.0, 5.0, 0.0, 12.0),))
    loop.error = "cannot start a run that is running"
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert (answer.ok, answer.notes, answer.unusable) == (False, (), False)


def test_a_run_goes_on_with_the_area_that_its_part_had(client, loop):
    """Whatever was kept by that name since."""
    plan = PLAN.replace('area = "1 dm²"', 'part = "foot"')
    before = SimpleNamespace(plan=plan, area_dm2=0.7, reckoning=Reckoning(0.02, 0.97, 0.004))
    loop.before = SimpleNamespace(carried=Carried(charge_ah=0.1), run=before)
    assert client.ask(StartRequest(goes_on_from=4, who="Ann")).ok
    going_on = loop.orders[0].plan
    assert (going_on.area_dm2, going_on.efficiency) == (0.7, 0.97)
    assert (going_on.area_u, going_on.efficiency_u) == pytest.approx((0.02, 0.004))


def test_a_run_goes_on_by_the_plan_of_the_one_before(client, loop):
    carried = Carried(charge_ah=0.1)
    loop.before = SimpleNamespace(
        carried=carried, run=SimpleNamespace(plan=PLAN, area_dm2=1.0, reckoning=None)
    )
    assert client.ask(StartRequest(goes_on_from=4, who="Ann")).ok
    (order,) = loop.orders
    assert (order.carried, order.goes_on_from, order.text) == (carried, 4, PLAN)
    assert order.plan.title == "Plate"


def test_a_part_that_is_done_is_not_gone_on_with(client, loop):
    loop.before = SimpleNamespace(
        carried=Carried(charge_ah=100.0),
        run=SimpleNamespace(plan=PLAN, area_dm2=1.0, reckoning=None),
    )
    answer = client.ask(StartRequest(goes_on_from=4, who="Ann"))
    assert "are on the part, the target is 10 µm" in answer.error
    loop.before = SimpleNamespace(
        carried=Carried(stage=1), run=SimpleNamespace(plan=PLAN, area_dm2=1.0, reckoning=None)
    )
    answer = client.ask(StartRequest(goes_on_from=4, who="Ann"))
    assert "all 1 stages are done on this part" in answer.error
    loop.trouble = InputError("run 4", ("has reached its target: nothing is left to do",))
    answer = client.ask(StartRequest(goes_on_from=4, who="Ann"))
    assert answer.error == "run 4: has reached its target: nothing is left to do"
    assert loop.orders == []


def test_an_overdue_proof_test_may_keep_runs_from_starting_but_its_own(client, loop, prover):
    loop.unproved = "the ways to stop were never proved here"
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert answer.error == "proof test overdue: the ways to stop were never proved here"
    assert client.ask(BEGIN).ok
    (asked, ask) = prover.begun
    assert asked == BEGIN
    assert ask(StartRequest(plan=PLAN, who="Ann")).ok
    assert [order.act for order in loop.orders] == [Act.START]


def test_how_it_is_with_the_proof_test_is_told(client, prover):
    assert client.ask(ProofRequest()).proof == prover.status()


def test_a_proof_s_plan_that_cannot_work_is_refused_before_it_begins(client, prover):
    answer = client.ask(BEGIN.model_copy(update={"current_a": 9.0}))
    assert "9 A" in answer.error
    assert prover.begun is None


def test_what_a_person_saw_and_that_they_give_up_reaches_the_prover(client, prover):
    said = AnswerProofRequest(who="Ann", walk="ab12", step=3, yes=False)
    given_up = EndProofRequest(who="Ann", walk="ab12")
    assert client.ask(said).ok
    assert client.ask(given_up).ok
    assert prover.told == [said, given_up]
    prover.trouble = InputError("proof test", ("it is over already",))
    assert client.ask(given_up).error == "proof test: it is over already"


def test_during_a_proof_test_nobody_else_starts_resumes_or_resets(client, loop, prover):
    prover.under_way = "step 2 of 9, interlock lid"
    for request in (
        StartRequest(plan=PLAN, who="Ben"),
        ActRequest(ask="resume", who="Ben"),
        ActRequest(ask="reset", who="Ben"),
    ):
        assert client.ask(request).error == (
            "proof test: is at step 2 of 9, interlock lid: it has to be given up first"
        )
    assert loop.orders == []
    assert client.ask(AlarmRequest(ask="acknowledge", who="Ben")).ok


@pytest.mark.parametrize("act", ["hold", "stop", "abort"])
def test_whoever_takes_the_current_away_does_and_ends_a_proof_test(client, loop, prover, act):
    prover.under_way = "step 2 of 9, interlock lid"
    assert client.ask(ActRequest(ask=act, who="Ben")).ok
    assert [order.act for order in loop.orders] == [Act(act)]
    assert prover.told == [f"{act} by Ben"]
    loop.error = f"cannot {act} a run that is idle"
    assert not client.ask(ActRequest(ask=act, who="Ben")).ok
    assert len(prover.told) == 1
    prover.pumps = True
    assert not client.ask(ActRequest(ask=act, who="Ben")).ok
    assert prover.told == 2 * [f"{act} by Ben"]


def test_the_heartbeat_is_withheld_for_a_walk_and_for_nobody_over_the_socket(
    client, path, loop, prover
):
    answer = say(path, b'{"ask": "withhold", "who": "Ann"}\n')
    assert not answer["ok"]
    assert loop.orders == []
    assert client.ask(BEGIN).ok
    assert prover.begun[1](WithholdRequest(who="Ann")).ok
    assert [type(order.act) for order in loop.orders] == [Withhold]


def test_what_the_loop_refuses_a_walk_is_told_to_it(client, loop, prover):
    client.ask(BEGIN)
    loop.error = "interlock open: lid"
    assert prover.begun[1](StartRequest(plan=PLAN, who="Ann")).error == "interlock open: lid"
    assert not prover.begun[1](StartRequest(plan="title = ", who="Ann")).ok


CALIBRATE = CalibrateRequest(
    meter="shunt",
    who="Ann",
    reference="handheld, serial 4711",
    reference_class="0.5 %",
    points=(Point(0.01, 1e-4, 0.0), Point(1.02, 1e-4, 1.0, 3e-4)),
)


def test_a_calibration_is_handed_over(client, loop):
    answer = client.ask(CALIBRATE)
    assert (answer.ok, answer.error, answer.status) == (True, None, STATUS)
    assert loop.calibrations == [CALIBRATE]


@pytest.mark.parametrize(
    ("trouble", "said"),
    [
        (InputError("shunt", ("a run is under way",)), "shunt: a run is under way"),
        (
            OperationalError("", {}, Exception("disk I/O error")),
            "the record does not take it: disk I/O error",
        ),
    ],
)
def test_a_calibration_that_is_not_kept_says_why(client, loop, trouble, said):
    loop.trouble = trouble
    answer = client.ask(CALIBRATE)
    assert (answer.ok, answer.error, answer.status) == (False, said, None)


@pytest.mark.parametrize(
    "points", [[], [{"reading_a": 1, "u_reading_a": -1, "reference_a": 1}], [{"reading_a": 1}]]
)
def test_points_that_are_none_do_not_get_that_far(serve, path, loop, points):
    serve()
    request = CALIBRATE.model_dump() | {"points": points}
    answer = say(path, json.dumps(request).encode() + b"\n")
    assert not answer["ok"]
    assert "points" in answer["error"]
    assert loop.calibrations == []


def test_a_refusal_of_the_loop_is_handed_on(client, loop):
    loop.error = "cannot hold a run that is idle"
    answer = client.ask(ActRequest(ask="hold", who="Ann"))
    assert (answer.ok, answer.error) == (False, "cannot hold a run that is idle")


def test_a_start_hands_over_the_plan_and_its_text(client, loop):
    assert client.ask(StartRequest(plan=PLAN, who="Ann")).ok
    (order,) = loop.orders
    assert (order.act, order.text) == (Act.START, PLAN)
    assert (order.plan.title, order.plan.stages[0].current_a) == ("Plate", 2.0)


def test_a_start_is_answered_when_the_run_is_on_the_disk_and_the_loop_waits_for_none_of_it(
    client, loop
):
    """The loop has answered before anybody waits for the disk, and nobody waits without a run."""
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert (answer.ok, answer.warning) == (True, None)
    assert loop.said == [("kept?", True, server_module.KEPT_LIMIT_S)]
    loop.error = "cannot start a run that is running"
    assert not client.ask(StartRequest(plan=PLAN, who="Ann")).ok
    loop.error = None
    client.ask(ActRequest(ask="hold", who="Ann"))
    assert len(loop.said) == 1


def test_a_run_that_has_started_and_is_not_on_the_disk_yet_is_told_so(client, loop):
    loop.late = "database or disk is full"
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert (answer.ok, answer.status) == (True, STATUS)
    assert answer.warning == (
        "the run has started, but is not on the disk yet: database or disk is full; a power cut "
        "now loses it"
    )


class LazyWake(threading.Event):
    """Wakes the record's writer at the second call: an entry alone brings nothing to the disk."""

    def __init__(self):
        super().__init__()
        self.calls = 0

    def set(self):
        self.calls += 1
        if self.calls > 1:
            super().set()


def test_whoever_is_told_started_finds_the_run_in_the_record(serve, loop, path, tmp_path):
    record = tmp_path / "record.db"
    writer = Writer(record, commit_every_s=3600, wake=LazyWake())

    def submit(order):
        writer.put(
            RunOpened(1, "bath", "Plate", PLAN, "Cu(II)", 1.0, 10.0, "Ann", 0, 1000.0, "boot", None)
        )
        order.take()
        order.answer(None)

    loop.submit = submit
    loop.not_kept = Words(writer, lambda _: None, SystemClock()).not_kept
    serve()
    assert Client(path, timeout_s=10.0).ask(StartRequest(plan=PLAN, who="Ann")).warning is None
    engine = open_reader(record)
    with engine.connect() as connection:
        assert one_run(connection, 1).title == "Plate"
    engine.dispose()
    writer.close()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"2 A"', '"7 A"', ["7 A", "5 A"]),
        ('"2 A"', '"2 V"', ["stage[1].current", "2 V"]),
        ('area = "1 dm²"\n', "", ["area", "missing"]),
        ('"10 Ah"', '"0.1 Ah"', ["cap on charge", "0.1 Ah"]),
        ('"6 V"', '"60 V"', ["60 V", "30 V"]),
        ('title = "Plate"', "title = ", ["TOML"]),
        ('"2 A"\n', '"2 A"\nuntil = { thickness = "3 µm" }\n', ["out of reach", "3 µm"]),
    ],
    ids=["rating", "unit", "area", "cap", "ceiling", "toml", "reach"],
)
def test_a_plan_that_cannot_work_never_reaches_the_loop(client, loop, old, new, words):
    assert old in PLAN
    answer = client.ask(StartRequest(plan=PLAN.replace(old, new), who="Ann"))
    assert not answer.ok
    assert answer.unusable
    assert not loop.orders
    for word in words:
        assert word in answer.error


# Askers who do not behave.


@pytest.mark.parametrize(
    "line",
    [b"\n", b"garbage\n", b"{}\n", b'{"ask": "explode"}\n', b'{"ask": "hold"}\n', b"\xff\xfe\n",
     b'{"ask": "status", "more": 1}\n', b"[" * 5000 + b"\n"],
)  # fmt: skip
def test_what_is_no_request_is_told_so(serve, path, loop, line):
    serve()
    answer = say(path, line)
    assert answer["ok"] is False
    assert answer["error"]
    assert not loop.orders


def test_half_a_line_is_told_so(serve, path, loop):
    serve()
    assert "no line" in say(path, b'{"ask": "hold", "who": "Ann"}')["error"]
    assert not loop.orders


def test_a_line_beyond_the_limit_is_refused(serve, path, loop):
    serve()
    answer = say(path, b"x" * (server_module.REQUEST_LIMIT + 1), end=False)
    assert "256 kB" in answer["error"] or str(server_module.REQUEST_LIMIT) in answer["error"]


def test_an_asker_who_says_nothing_is_dropped_and_holds_nobody_up(serve, path, monkeypatch):
    monkeypatch.setattr(server_module._Asker, "timeout", 0.2)
    serve()
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as silent:
        silent.connect(str(path))
        assert Client(path, timeout_s=10.0).status() == STATUS
        silent.settimeout(10)
        assert silent.recv(1) == b""


def test_an_asker_who_leaves_before_the_answer_harms_nothing(serve, path):
    serve()
    for _ in range(20):
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as connection:
            connection.connect(str(path))
            connection.sendall(b'{"ask": "status"}\n')
    assert Client(path, timeout_s=10.0).status() == STATUS


def test_many_askers_at_once_are_all_answered(serve, path):
    serve()
    answers = []
    together = threading.Barrier(40)

    def ask():
        together.wait(30)
        answers.append(Client(path, timeout_s=30.0).status())

    threads = [threading.Thread(target=ask) for _ in range(40)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert answers == [STATUS] * 40


def test_an_order_that_the_loop_does_not_take_is_withdrawn(client, loop, monkeypatch):
    monkeypatch.setattr(server_module, "ORDER_LIMIT_S", 0.05)
    loop.silent = True
    answer = client.ask(StartRequest(plan=PLAN, who="Ann"))
    assert not answer.ok
    assert "nothing was done" in answer.error
    # The loop comes to it later, and finds that nobody wants it any more.
    assert not loop.orders[0].take()


# Whose socket it is.


def test_the_socket_is_for_owner_and_group(serve, path):
    serve()
    assert stat.S_IMODE(path.stat().st_mode) == 0o660


def test_the_socket_goes_with_the_server(serve, path):
    serve().stop()
    assert not path.exists()
    serve()
    assert Client(path, timeout_s=10.0).status() == STATUS


def test_a_dead_daemon_s_socket_is_taken_over(serve, path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
        dead.bind(str(path))
        dead.listen()
    serve()
    assert Client(path, timeout_s=10.0).status() == STATUS


def test_a_living_daemon_s_socket_is_not_stolen(serve, path):
    serve()
    with pytest.raises(SocketUnusableError, match="another daemon"):
        serve()
    assert Client(path, timeout_s=10.0).status() == STATUS


def test_a_living_daemon_too_busy_to_answer_keeps_its_socket(serve, path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as busy:
        busy.bind(str(path))
        busy.listen(0)
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as waiting:
            waiting.connect(str(path))
            with pytest.raises(SocketUnusableError, match="another daemon"):
                serve()
    assert path.is_socket()


def test_a_file_that_is_no_socket_is_left_alone(serve, path):
    path.write_text("a plan that took all evening")
    with pytest.raises(SocketUnusableError, match="is no socket"):
        serve()
    assert path.read_text() == "a plan that took all evening"


def test_a_path_too_long_for_a_socket_is_told_with_the_path(serve, tmp_path):
    path = tmp_path / ("x" * 120)
    with pytest.raises(SocketUnusableError, match=r"x{120}.*too long"):
        serve(path)


def test_a_folder_that_is_missing_is_told_with_the_path(serve, tmp_path):
    with pytest.raises(SocketUnusableError, match=r"nowhere.*No such file"):
        serve(tmp_path / "nowhere" / "control.sock")


RUN = RunStatus(
    run_id=7, title="Plate", bath="bath", started_utc="2026-11-25T00:00:00+00:00", running_s=0.0,
    stage=0, stages=(), area_dm2=1.0, charge_ah=0.0, gap_charge_ah=0.0, thickness_um=0.0,
    target_um=10.0, mass_g=0.0, metal="Cu", remaining_s=None, set_current_a=2.0, set_voltage_v=6.0,
)  # fmt: skip


def test_a_rehearsal_is_answered(client, loop):
    request = RehearseRequest(plan=PLAN, mishaps=("short at 0:10",))
    answer = client.ask(request)
    assert answer.ok
    assert answer.rehearsal.because == ("no",)
    assert loop.rehearsals == [request]


def test_a_rehearsal_that_cannot_be(client, loop):
    loop.trouble = InputError("rehearsal", ("another one is under way",))
    answer = client.ask(RehearseRequest(plan=PLAN))
    assert (answer.ok, answer.rehearsal) == (False, None)
    assert "another one is under way" in answer.error


def test_a_run_that_has_started_is_foretold_and_nothing_else_is(client, loop):
    loop.status = STATUS.model_copy(update={"run": RUN})
    asked = StartRequest(plan=PLAN, who="Ann")
    assert client.ask(asked.model_copy(update={"check": True})).ok
    loop.error = "no"
    assert not client.ask(asked).ok
    assert loop.foretold == []
    loop.error = None
    assert client.ask(asked).ok
    assert loop.foretold == [(7, asked)]


def test_a_plan_is_checked_and_its_course_foreseen(client, loop):
    loop.dues = Dues((Tally("brightener", 150.0, 5.0, 0.0, 12.0),))
    found = client.ask(CheckPlanRequest(plan=PLAN)).checked
    assert (found.problems, found.not_now) == ((), ())
    # As by hand: 10 µm on 1 dm² are 0.896 g; at 1.18549 g/Ah 0.7558 Ah, at 2 A 1360 s.
    assert found.course.charge_ah == pytest.approx(0.7558, rel=1e-4)
    assert found.course.duration_s == pytest.approx(1360.5, rel=1e-4)
    assert found.notes == ("2 doses of 5 mL of brightener now, overdue by 46.7 Ah",)
    assert loop.orders == []


def test_what_is_wrong_with_a_plan_is_told_by_its_key(client):
    broken = client.ask(CheckPlanRequest(plan=PLAN.replace('"10 µm"', '"10"'))).checked
    (said,) = broken.problems
    assert said.startswith('target: expected a length such as "25 µm", got "10"')
    assert broken.course is None
    strong = client.ask(CheckPlanRequest(plan=PLAN.replace("2 A", "50 A"))).checked
    (said,) = strong.problems
    assert said.startswith("stage[1].current: stage 1, 'build': asks for 50 A, at most 5 A")
    assert strong.course.stages[0].current_a == 50.0
    far = client.ask(CheckPlanRequest(plan=PLAN.replace("10 µm", "1e308 µm"))).checked
    assert far.problems
    assert far.course is None


def test_whatever_keeps_a_start_away_now_is_told_with_a_plan(client, loop, prover):
    loop.not_now = ("interlock open: lid", "no reading from the supply yet")
    loop.unproved = "the ways to stop were never proved here"
    prover.under_way = "step 2 of 6"
    found = client.ask(CheckPlanRequest(plan=PLAN)).checked
    assert found.interlocks == (InterlockSeen(name="lid", is_open=True),)
    assert found.not_now == (
        "interlock open: lid",
        "no reading from the supply yet",
        "a proof test is at step 2 of 6: it has to be given up first",
        "proof test overdue: the ways to stop were never proved here",
    )


def test_plans_are_kept_and_dropped_by_the_desk(client, loop):
    keep = KeepPlanRequest(name="plate", plan=PLAN, who="Ann")
    drop = DropPlanRequest(name="plate", seen="ab" * 32, who="Ann")
    assert client.ask(keep).ok
    assert client.ask(drop).ok
    assert (loop.plans.kept, loop.plans.dropped) == ([keep], [drop])
    refused = client.ask(keep.model_copy(update={"name": ".."}))
    assert (refused.ok, refused.error) == (False, "name: must be a name")


def test_a_rehearsal_is_noted_with_what_came_of_it(client, loop):
    assert client.ask(RehearseRequest(plan=PLAN)).ok
    assert loop.plans.noted == [(PLAN, False)]
