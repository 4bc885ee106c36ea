"""Causes tripped on real processes: a supply on a pty, loops on mock pins, messages to a socket.

Each has one alarm, does to the run what the table says, and has its close-up and its message. A
test is marked with the causes that it trips, which the record has to bear out; the last one holds
the catalogue against these marks.
"""

import os
import re
import signal
import subprocess
from contextlib import suppress
from itertools import pairwise

import pytest

from daemon.api.socket.messages import AlarmRequest, StartRequest
from daemon.control.protection.causes import CAUSES
from daemon.record import alarms, close_ups
from drivers.simulator.process import SimulatorProcess
from tests.receiver import Receiver

AUXILIARY, STOP_BUTTON, LEVEL, LID, FILTER = 27, 22, 23, 24, 25
LEVELS = {AUXILIARY: 0, STOP_BUTTON: 1, LEVEL: 1, LID: 1, FILTER: 1}

PARTS = "".join(f'[[parts]]\nname = "part {n}"\narea_dm2 = 0.45\npaint_ohm_per_sq = 0\n' for n in
                range(4))  # fmt: skip

MORE = """\
[[interlock]]
name = "emergency stop"
pin = 22
stop = "abort"
[[interlock]]
name = "level"
pin = 23
stop = "stop"
[[interlock]]
name = "lid"
pin = 24
stop = "hold"
[[interlock]]
name = "filter pump"
pin = 25
stop = "nothing"
[[tell]]
name = "phone"
address = "json://127.0.0.1:{port}/"
[telling]
repeat = "1 h"
most_an_hour = 120
retry = "1 s"
"""

PLAN = """\
title = "Four brackets"
area = "1.8 dm²"
target = "{target}"
voltage_ceiling = "{ceiling}"
caps = {{ charge = "20 Ah", duration = "{cap}" }}
[[stage]]
name = "build"
current = "2 A"
"""


@pytest.fixture
def receiver():
    with Receiver() as receiver:
        yield receiver


@pytest.fixture
def tank(rate, origin_s, tmp_path):
    """Four parts of bare metal."""
    scenario = tmp_path / "scenario.toml"
    scenario.write_text(PARTS)
    with SimulatorProcess(rate=rate, origin_s=origin_s, scenario=scenario) as process:
        yield process


@pytest.fixture
def new_daemon(request, new_daemon, wait_until):
    """As ever; at the end every cause that the test is marked with stands in a record."""
    made = []

    def make(*arguments, **more):
        made.append(new_daemon(*arguments, **more))
        return made[-1]

    def raised():
        causes = {alarm.raised.cause for one in made for alarm in one.record(alarms.since, 0)}
        return causes | {after for after, first in COMES_FIRST.items() if first in causes}

    yield make
    marked = causes_of(request.node)
    wait_until(lambda: marked <= raised(), f"the record has {', '.join(sorted(marked))}")


def causes_of(test):
    """The causes that a test is marked with."""
    return {cause for mark in test.iter_markers("trips") for cause in mark.args}


@pytest.fixture
def cabinet(new_daemon, mock_pins, receiver):
    mock_pins.levels(LEVELS)
    return new_daemon(
        more=MORE.format(port=receiver.port), environment=mock_pins.environment
    ).start().ready()  # fmt: skip


@pytest.fixture
def make_cabinet(new_daemon, mock_pins, receiver):
    """A cabinet with more in its settings; `more` stands before the tables of the messages."""

    def make(more, name="one", **how):
        mock_pins.levels(LEVELS)
        more += MORE.format(port=receiver.port)
        return new_daemon(name, more=more, environment=mock_pins.environment, **how)

    return make


def plate(daemon, wait_until, *, target="50 µm", ceiling="6 V", cap="20 h", amperes=1.9):
    plan = PLAN.format(target=target, ceiling=ceiling, cap=cap)
    answer = daemon.client.ask(StartRequest(plan=plan, who="Ann"))
    assert answer.ok, answer.error
    return wait_until(
        lambda: (s := daemon.status()) and (s.current_a or 0) > amperes and s, "the current flows"
    )


def seen(daemon, cause, receiver, wait_until, *, silent=False):
    """The alarm of this cause in the record, once its close-up is whole and its message came."""

    def whole():
        found = [a for a in daemon.record(alarms.since, 0) if a.raised.cause == cause]
        if not found:
            return None
        close_up = daemon.record(close_ups.of_alarm, found[0].number)
        return close_up is not None and close_up.to_s >= 25.0 and (found[0], close_up)

    alarm, close_up = wait_until(whole, f"the close-up of {cause} is whole; {daemon.said()}")
    readings = [reading for trace in close_up.traces[:1] for reading in trace.readings]
    before = [reading for reading in readings if reading.at_s <= 0]
    after = [reading for reading in readings if reading.at_s > 0]
    # At this rate a reading counts as lost after longer than a close-up reaches back.
    assert silent or (len(before) > 3 and len(after) > 3)
    name = cause.removeprefix("interlock: ")
    wait_until(lambda: receiver.was_told(name), f"{name} is told")
    return alarm


def causes_in_record(daemon):
    """Of all alarms so far; a fault's own is alone where no consequence has raised another."""
    raised = {alarm.raised.cause for alarm in daemon.record(alarms.since, 0)}
    return raised - {"proof test overdue"}


COMES_FIRST = {"current spike": "over-current"}
"""A reading on the way up begins the over-current's dose, which then comes first and explains."""


def tripped(cause, *what):
    """A test's parameters, marked with the cause."""
    return pytest.param(cause, *what, marks=pytest.mark.trips(cause), id=cause)


# cause, what the tank does, its parameters, where the run comes to rest
FAULTS = [
    tripped("short", "short", {}, "aborted"),
    tripped("open circuit", "open_load", {}, "aborted"),
    tripped("output dropped", "output_drop", {}, "aborted"),
    tripped("over-current", "surge", {"current_a": 0.5}, "aborted"),
    tripped("current spike", "surge", {"current_a": 3.0}, "aborted"),
    tripped("current off the plan", "fold_back", {"current_a": 1.5}, "held"),
]


@pytest.mark.parametrize(("cause", "do", "how", "rest"), FAULTS)
def test_a_fault_of_the_tank(cabinet, tank, receiver, wait_until, cause, do, how, rest):
    plate(cabinet, wait_until)
    tank.inject(do, **how)
    status = cabinet.until_state(rest)
    first = next(alarm for alarm in status.alarms if alarm.first_out)
    assert first.cause in (cause, COMES_FIRST.get(cause))
    assert first.life == "returned, unacknowledged"
    alarm = seen(cabinet, first.cause, receiver, wait_until)
    assert "stopped the run" in [change.what for change in alarm.changes]
    assert causes_in_record(cabinet) == {first.cause}
    assert tank.truth().current_a < 0.02
    assert cabinet.end() == 0


@pytest.mark.parametrize(("name", "pin", "rest"), [
    ("emergency stop", STOP_BUTTON, "aborted"), ("level", LEVEL, "stopped"), ("lid", LID, "held"),
    ("filter pump", FILTER, "running"),
])  # fmt: skip
def test_an_interlock(cabinet, mock_pins, tank, receiver, wait_until, name, pin, rest):
    plate(cabinet, wait_until)
    mock_pins.drive(pin, 0)
    wait_until(lambda: cabinet.status().alarms, "an alarm stands")
    cabinet.until_state(rest)
    assert (tank.truth().current_a < 0.02) == (rest != "running")
    seen(cabinet, f"interlock: {name}", receiver, wait_until)
    assert causes_in_record(cabinet) == {f"interlock: {name}"}
    assert cabinet.end() == 0


@pytest.mark.trips("reading lost", "output did not stop")
def test_a_supply_that_hangs_while_plating(cabinet, tank, receiver, wait_until):
    plate(cabinet, wait_until)
    os.kill(tank.pid, signal.SIGSTOP)
    try:
        cabinet.until_state("aborting")
        wait_until(
            lambda: {a.cause for a in cabinet.status().alarms} >= {
                "reading lost", "output did not stop",
            },
            "the silence and the output that was not seen off are alarms",
        )  # fmt: skip
    finally:
        os.kill(tank.pid, signal.SIGCONT)
    cabinet.until_state("aborted")
    assert tank.truth().current_a < 0.02
    seen(cabinet, "reading lost", receiver, wait_until, silent=True)
    wait_until(lambda: receiver.was_told("output did not stop"), "it is told")
    assert cabinet.end() == 0


@pytest.mark.trips("device failed")
def test_a_supply_that_is_gone(cabinet, tank, receiver, wait_until):
    plate(cabinet, wait_until)
    os.kill(tank.pid, signal.SIGKILL)
    cabinet.until_state("aborting")
    wait_until(lambda: receiver.was_told("device failed"), "it is told")
    first = next(alarm for alarm in cabinet.status().alarms if alarm.first_out)
    assert first.cause == "device failed"


@pytest.mark.trips("telling failed")
def test_nobody_who_can_be_told(new_daemon, mock_pins, wait_until):
    mock_pins.levels(LEVELS)
    more = MORE.format(port=9) + 'failed_after = "1 s"\n'
    daemon = new_daemon(more=more, environment=mock_pins.environment).start().ready()
    plate(daemon, wait_until)
    mock_pins.drive(FILTER, 0)
    wait_until(
        lambda: "telling failed" in [alarm.cause for alarm in daemon.status().alarms],
        "the failure to tell is an alarm itself",
    )
    assert daemon.status().state == "running"


class TestWhatTakesMinutes:
    """On a faster clock: a cell is known after five minutes, and a drift takes as long again."""

    @pytest.fixture
    def rate(self):
        return 60.0

    @pytest.fixture
    def cabinet(self, make_cabinet):
        return make_cabinet("", tick_s=0.05).start().ready()

    @pytest.mark.parametrize(("cause", "do", "how"), [
        tripped("whisker", "whisker", {"resistance_ohm": 1.0}),
        tripped("bad contact", "bad_contact", {"resistance_ohm": 0.3}),
        tripped("voltage drift", "drift", {"rate_v_per_h": 20.0, "limit_v": 3.0}),
    ])  # fmt: skip
    def test_a_change_of_the_cell_that_is_told(
        self, cabinet, tank, receiver, wait_until, cause, do, how
    ):
        plate(cabinet, wait_until)
        wait_until(lambda: cabinet.status().run.running_s > 400, "the cell is known")
        tank.inject(do, **how)
        seen(cabinet, cause, receiver, wait_until)
        assert cabinet.status().state == "running"
        assert causes_in_record(cabinet) == {cause}

    @pytest.mark.trips("part lost")
    def test_a_part_that_falls_off(self, cabinet, tank, receiver, wait_until):
        plate(cabinet, wait_until)
        wait_until(lambda: cabinet.status().run.running_s > 400, "the cell is known")
        tank.inject("lose_part", part=2)
        cabinet.until_state("held")
        assert tank.truth().current_a < 0.02
        alarm = seen(cabinet, "part lost", receiver, wait_until)
        assert "stopped the run" in [change.what for change in alarm.changes]
        assert causes_in_record(cabinet) == {"part lost"}

    @pytest.mark.trips("reading frozen")
    def test_a_meter_that_repeats_itself(self, cabinet, tank, receiver, wait_until):
        """On a ramp, where it has to move."""
        ramp = 'current = "2 A"\nramp = "20 min"'
        plan = PLAN.format(target="50 µm", ceiling="6 V", cap="20 h")
        plan = plan.replace('current = "2 A"', ramp)
        answer = cabinet.client.ask(StartRequest(plan=plan, who="Ann"))
        assert answer.ok, answer.error
        wait_until(lambda: (cabinet.status().current_a or 0) > 0.5, "the ramp is under way")
        tank.inject("freeze_readings")
        cabinet.until_state("aborting", "aborted")
        wait_until(lambda: tank.truth().current_a < 0.02, "the current is gone")
        tank.inject("mend")
        cabinet.until_state("aborted")
        seen(cabinet, "reading frozen", receiver, wait_until)

    @pytest.mark.trips("voltage ceiling", "cap reached")
    def test_a_cap_and_the_ceiling(self, cabinet, tank, receiver, wait_until):
        plate(cabinet, wait_until, target="1 µm", cap="400 s", ceiling="0.3 V", amperes=0.1)
        cabinet.until_state("stopped")
        assert tank.truth().current_a < 0.02
        seen(cabinet, "voltage ceiling", receiver, wait_until)
        seen(cabinet, "cap reached", receiver, wait_until)

    @pytest.mark.trips("bath too cold", "thermometer lost", "bath too hot")
    def test_a_bath_too_hot_too_cold_and_a_lost_thermometer(
        self, make_cabinet, kernel, receiver, wait_until
    ):
        daemon = make_cabinet(kernel.settings, tick_s=0.05).start().ready()
        plate(daemon, wait_until)
        kernel.warm(12.0)
        seen(daemon, "bath too cold", receiver, wait_until)
        assert daemon.status().state == "running"
        kernel.warm(None)
        seen(daemon, "thermometer lost", receiver, wait_until)
        assert daemon.status().state == "running"
        kernel.warm(41.5)
        daemon.until_state("held")
        seen(daemon, "bath too hot", receiver, wait_until)
        assert kernel.truth().current_a < 0.02
        assert daemon.end() == 0


class TestAShuntThatShowsWrong:
    """It shows 30 % too much from somewhen on, then a current where there is none."""

    @pytest.fixture
    def shown(self):
        return {"gain": 1.0, "offset_a": 0.0}

    @pytest.fixture
    def shunt_shows(self, shown):
        return lambda current_a: shown["gain"] * current_a + shown["offset_a"]

    @pytest.mark.trips("meters disagree", "current with no run")
    def test_it(self, make_cabinet, kernel, shown, receiver, wait_until):
        daemon = make_cabinet(kernel.settings).start().ready()
        plate(daemon, wait_until)
        # Within what an over-current is, and far from what the supply's own meter shows.
        shown["gain"] = 0.93
        seen(daemon, "meters disagree", receiver, wait_until)
        assert daemon.status().state == "running"
        shown["gain"] = 1.0
        assert daemon.act("stop").ok
        daemon.until_state("stopped")
        shown["offset_a"] = 0.5
        wait_until(
            lambda: receiver.was_told("current with no run"),
            "the current with no run is told",
        )
        standing = [alarm.cause for alarm in daemon.status().alarms]
        assert "current with no run" in standing
        shown["offset_a"] = 0.0
        assert daemon.end() == 0


class TestRipple:
    """At rate 8: a burst of the meter, 0.3 s of its clock, has to see 225 changes of a file."""

    @pytest.fixture
    def rate(self):
        return 8.0

    @pytest.mark.trips("ripple high")
    def test_a_current_with_ripple(self, make_cabinet, kernel, receiver, wait_until):
        daemon = make_cabinet(kernel.settings).start().ready()
        plate(daemon, wait_until)
        # Of a rectangle the root mean square is its height; 10 % is too much.
        kernel.ripple_share = 0.12
        wait_until(lambda: causes_in_record(daemon), "the ripple is an alarm in the record")
        kernel.ripple_share = 0.0
        assert daemon.status().state == "running"
        assert causes_in_record(daemon) == {"ripple high"}
        # It is shown, and nobody is woken for it.
        assert not receiver.messages
        assert daemon.end() == 0


@pytest.mark.trips("clock stepped")
def test_a_wall_clock_that_is_set_during_a_run(cabinet, mock_pins, wait_until):
    plate(cabinet, wait_until)
    mock_pins.set_wall(-3600)
    wait_until(
        lambda: "clock stepped" in [alarm.cause for alarm in cabinet.status().alarms],
        "the step is an alarm",
    )
    assert cabinet.status().state == "running"
    (event,) = cabinet.events("clock stepped")
    # At this rate 5 ms between looks at the two clocks are 0.1 s.
    assert re.fullmatch(r"the wall clock was set by -3(600|599)\.\d s", event)
    assert cabinet.end() == 0


@pytest.mark.trips("disk nearly full")
def test_a_disk_with_too_little_room(make_cabinet, receiver, wait_until):
    """More room than any disk has is asked for."""
    daemon = make_cabinet('[thresholds]\ndisk_least = "1e9 GB"\n').start().ready()
    wait_until(lambda: receiver.was_told("disk nearly full"), "it is told")
    assert daemon.status().state == "idle"


@pytest.fixture
def small_disk(tmp_path):
    """A small file system of its own for the daemon's folder."""
    folder = tmp_path / "small"
    folder.mkdir()
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=40m", "tmpfs", str(folder)],
        capture_output=True, check=False,
    )  # fmt: skip
    if mounted.returncode:
        pytest.skip(f"needs the right to mount: {mounted.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


@pytest.mark.trips("record behind")
def test_a_record_that_finds_no_room(small_disk, make_cabinet, receiver, wait_until):
    daemon = (
        make_cabinet('[thresholds]\nrecord_behind = "3 s"\nrecord_back = "1 s"\n', name="small")
        .start()
        .ready()
    )
    plate(daemon, wait_until)
    filler = small_disk / "filler"
    with suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(4096))
    wait_until(lambda: receiver.was_told("record behind"), "it is told")
    assert daemon.status().state == "running"
    # With room again nothing is lost that waited.
    filler.unlink()
    seen(daemon, "record behind", receiver, wait_until)
    assert daemon.act("stop").ok
    daemon.until_state("stopped")
    assert daemon.end() == 0
    elapsed_s = [sample.elapsed_s for sample in daemon.samples()]
    assert max(b - a for a, b in pairwise(elapsed_s)) < 30


CONTACTOR = """\
[contactor]
heartbeat_pin = 17
auxiliary_pin = 27
pull_in = "10 s"
drop_out = "20 s"
"""


@pytest.mark.trips("contactor fault", "contactor did not open")
def test_a_contactor_that_stays_open_opens_by_itself_and_stays_closed(
    make_cabinet, mock_pins, tank, receiver, wait_until
):
    daemon = make_cabinet(CONTACTOR).start().ready()
    start = StartRequest(plan=PLAN.format(target="50 µm", ceiling="6 V", cap="20 h"), who="Ann")
    assert daemon.client.ask(start).ok
    daemon.until_state("aborted")
    alarm = seen(daemon, "contactor fault", receiver, wait_until)
    assert alarm.raised.seen == "the contactor did not close within 10.0 s"
    assert tank.truth().charge_ah == 0
    assert daemon.client.ask(AlarmRequest(ask="acknowledge", who="Ann")).ok
    assert daemon.act("reset").ok
    daemon.until_state("idle")
    edges = len(mock_pins.edges(17))
    assert daemon.client.ask(start).ok
    wait_until(lambda: len(mock_pins.edges(17)) > edges, "the heartbeat moves")
    mock_pins.drive(AUXILIARY, 1)
    wait_until(lambda: (daemon.status().current_a or 0) > 1.9, "the current flows")
    mock_pins.drive(AUXILIARY, 0)
    daemon.until_state("aborted")
    fault = next(alarm for alarm in daemon.status().alarms if alarm.cause == "contactor fault")
    assert fault.seen.startswith("the contactor opened by itself")
    assert tank.truth().current_a < 0.02
    # It is found closed though nothing asks for it: welded.
    mock_pins.drive(AUXILIARY, 1)
    seen(daemon, "contactor did not open", receiver, wait_until)
    assert daemon.client.ask(start).ok is False


@pytest.mark.trips("run interrupted", "proof test overdue")
def test_a_run_that_a_dead_daemon_left_open(make_cabinet, receiver, wait_until):
    daemon = make_cabinet("").start().ready()
    plate(daemon, wait_until)
    pids = [*daemon_processes(daemon)]
    for pid in pids:
        os.kill(pid, signal.SIGKILL)
    daemon.process.wait()
    daemon.start().ready()
    wait_until(lambda: receiver.was_told("run interrupted"), "it is told")
    wait_until(
        lambda: {alarm.cause for alarm in daemon.status().alarms} >= {
            "run interrupted", "proof test overdue",
        },
        "both stand",
    )  # fmt: skip
    assert daemon.status().state == "idle"


def daemon_processes(daemon):
    """Guard first, so that it restarts nobody."""
    return [daemon.process.pid, daemon.loop_pid]


def all_in(collector):
    """All tests of a module or class, selected or not."""
    for node in collector.collect():
        if isinstance(node, pytest.Class):
            yield from all_in(node)
        else:
            yield node


def test_every_cause_of_the_catalogue_is_tripped(request):
    marked = set().union(*map(causes_of, all_in(request.node.parent)))
    assert marked == set(CAUSES)
