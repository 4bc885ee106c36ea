"""Contactor and interlocks through worker, loop and runner, on mock pins and a simulated tank."""

import os
import signal
import threading
import time
from contextlib import suppress
from itertools import pairwise
from types import SimpleNamespace

import pytest
from gpiozero.pins.mock import MockFactory

from daemon.api.plans.file import read_plan
from daemon.api.socket.client import Client, DaemonUnreachableError
from daemon.api.socket.messages import StartRequest
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import Limits
from daemon.control.states import Act, State
from daemon.record.entries import AlarmChanged, Audited, RunEnded, RunOpened
from daemon.service import assembly
from daemon.service import main as service
from daemon.service.cycle.runner import Quit
from daemon.service.devices.pins import CYCLE_S, LEAST_EDGE_S, InterlockLoop, Pins, make_pins
from daemon.service.settings.file import read_settings
from drivers.errors import PinError
from drivers.pins.lines import ContactInput, HeartbeatLine, SignalOutput
from drivers.simulator.inline import SimulatedSupply
from drivers.simulator.process import SimulatorProcess

LINE, AUXILIARY, STOP_BUTTON, LID = 17, 27, 22, 23
BEACON, SIREN, BUTTON = 20, 16, 26

ROWS = {
    "interlock: emergency stop": Effects(Stop.ABORT, siren=True),
    "interlock: lid": Effects(Stop.HOLD),
}
LIMITS = Limits(pull_in_s=2.0, drop_out_s=1.0, table=Table({**DEFAULTS, **ROWS}))

PLAN = """\
title = "Bracket"
area = "1.8 dm²"
target = "0.05 µm"
voltage_ceiling = "6 V"
caps = { charge = "1 Ah", duration = "1 h" }
[[stage]]
name = "build"
current = "2 A"
ramp = "2 s"
"""


class Cabinet:
    """What hangs on the pins: the contactor, its circuit, and two loops of contacts.

    The contactor is closed while the line has moved within `lets_go_s` and the emergency stop,
    which is in series with the coil, is not pressed; or while it is welded. `edges_s` are the
    moments at which the line moved.
    """

    lets_go_s = 0.3

    def __init__(self, clock, supply):
        self.clock, self.supply = clock, supply
        self.factory = MockFactory()
        line = HeartbeatLine(LINE, self.factory)
        auxiliary = ContactInput(AUXILIARY, "auxiliary contact", self.factory)
        loops = [
            InterlockLoop(name, ContactInput(pin, name, self.factory), debounce_s=0.05)
            for name, pin in (("emergency stop", STOP_BUTTON), ("lid", LID))
        ]
        self.pins = Pins(
            line,
            auxiliary,
            loops,
            real_s=clock.monotonic_s,
            beacon=SignalOutput(BEACON, "beacon", self.factory),
            siren=SignalOutput(SIREN, "siren", self.factory),
            button=ContactInput(BUTTON, "acknowledge button", self.factory),
        )
        self.pressed = self.welded = self.dead = self.closed = False
        self.wired = {STOP_BUTTON, LID}
        self.edges_s = []
        self._level = False
        self.follow()

    def level(self, pin):
        return self.factory.pin(pin).state

    def follow(self):
        """Do what the pins say, and show it on them."""
        now_s = self.clock.now_s
        if self.level(LINE) != self._level:
            self._level = self.level(LINE)
            self.edges_s.append(now_s)
        moves = len(self.edges_s) > 1 and now_s - self.edges_s[-1] < self.lets_go_s
        closed = self.welded or (moves and not self.pressed and not self.dead)
        self.supply.truth()  # up to now with the circuit as it was
        self.supply.tank.set_broken(not closed)
        self.supply.bench.supply.tank_changed()
        self.closed = closed
        self.show(AUXILIARY, closed)
        for pin in (STOP_BUTTON, LID):
            self.show(pin, pin in self.wired and not (pin == STOP_BUTTON and self.pressed))

    def show(self, pin, closed):
        if self.factory.pin(pin).function == "input":
            (self.factory.pin(pin).drive_high if closed else self.factory.pin(pin).drive_low)()

    def signals(self):
        """Whether beacon and siren are on."""
        return self.level(BEACON), self.level(SIREN)

    def flows(self):
        return abs(self.supply.truth().current_a) > 0.001


@pytest.fixture
def cabinet(clock):
    supply = SimulatedSupply(clock.monotonic_s)
    supply.open()
    cabinet = Cabinet(clock, supply)
    yield cabinet
    cabinet.pins.close()


@pytest.fixture
def plant(new_rig, cabinet):
    """The daemon's inside with a contactor and two loops around a simulated tank."""
    rig = new_rig(
        cabinet.supply, rating=cabinet.supply.rating, limits=LIMITS, pins=cabinet.pins,
        world=cabinet.follow,
    )  # fmt: skip
    rig.cabinet = cabinet
    return rig


def start(rig, from_start_s=0.5, target="0.05 µm"):
    text = PLAN.replace("0.05 µm", target)
    return rig.order(Act.START, from_start_s, plan=read_plan(text, "plan"), text=text)


def seconds(rig):
    return rig.clock.now_s - 1000.0


def press(rig):
    rig.cabinet.pressed = True
    rig.cabinet.follow()


def ended(rig):
    (entry,) = rig.recorded(RunEnded)
    return entry.state, entry.reason


# A run in order.


def test_a_run_closes_the_contactor_plates_and_opens_it(plant, over):
    cabinet, trail = plant.cabinet, []
    follow = cabinet.follow

    def watch():
        on = cabinet.supply.bench.supply.output_on
        trail.append((cabinet.closed, on))
        follow()

    plant._world = watch
    start(plant)
    assert plant.run(until=lambda rig: over(rig) and not rig.cabinet.closed, most_s=600)
    assert ended(plant)[0] == "complete"
    # Neither with the output on before the contactor, nor the contactor longer than its drop-out.
    changes = [now for before, now in pairwise(trail) if now != before]
    assert changes == [(True, False), (True, True), (True, False), (False, False)]
    error = plant.recorded(RunEnded)[0].mass_g / cabinet.supply.truth().deposited_g - 1
    assert abs(error) < 0.01
    assert not plant.recorded("contactor did not open")


def test_the_line_moves_while_the_contactor_is_wanted_and_at_no_other_time(plant):
    start(plant, from_start_s=5.0, target="10 µm")
    plant.order(Act.HOLD, 20.0)
    plant.run(most_s=40.0)
    edges_s = [moment_s - 1000.0 for moment_s in plant.cabinet.edges_s]
    assert edges_s[0] == pytest.approx(5.0, abs=0.06)
    held_s = edges_s[-1]
    assert 20.0 <= held_s <= 21.2
    pauses_s = [b - a for a, b in pairwise(edges_s)]
    # 10 to 25 Hz: between 20 ms and 50 ms from edge to edge, and a cycle's lateness.
    assert max(pauses_s) <= CYCLE_S + 1e-6
    assert min(pauses_s[:-1]) >= LEAST_EDGE_S - 1e-6
    assert plant.cabinet.level(LINE) is False


def test_before_the_first_start_and_after_the_end_the_line_is_low(plant):
    assert plant.cabinet.level(LINE) is False
    start(plant)
    plant.at(10.0, Quit("SIGTERM"))
    assert plant.run(most_s=60.0) is True
    assert ended(plant) == ("stopped", "stopped by SIGTERM")
    assert plant.cabinet.level(LINE) is False
    plant.cabinet.pins.close()
    assert plant.cabinet.factory.pin(LINE).function == "input"


def test_cycles_that_follow_each_other_fast_share_an_edge(plant):
    plant.cabinet.pins.beat()
    for _ in range(10):
        plant.cabinet.pins.beat()
        plant.clock.now_s += 0.001
    assert len(plant.cabinet.factory.pin(LINE).states) - 1 == 1


# What stops the line.


def test_a_loop_that_hangs_gives_no_edge_and_the_contactor_opens(plant):
    cabinet, seen = plant.cabinet, []
    start(plant, target="10 µm")

    def hang():
        """No cycle runs, only time passes: nothing but the loop can move the line."""
        seen.append((len(cabinet.edges_s), cabinet.closed, cabinet.flows()))
        for _ in range(4):
            plant.clock.now_s += 0.1
            cabinet.follow()
        seen.append((len(cabinet.edges_s), cabinet.closed, cabinet.flows()))

    plant.at(6.0, hang)
    plant.run(most_s=6.5)
    (edges, *before), (edges_after, *after) = seen
    assert before == [True, True]
    assert after == [False, False]
    assert edges_after == edges


def test_a_cycle_that_fails_gives_no_edge(plant):
    start(plant, target="10 µm")
    edges = []

    def fail(entry):
        edges.append(len(plant.cabinet.factory.pin(LINE).states))
        raise OSError("out of memory")

    plant.at(6.0, lambda: setattr(plant.loop._scribe, "_put", fail))
    with pytest.raises(OSError, match="out of memory"):
        plant.run(most_s=10.0)
    assert edges == [len(plant.cabinet.factory.pin(LINE).states)]
    assert edges[0] > 50


def test_an_order_that_is_refused_gives_no_edge(plant):
    start(plant, target="10 µm")
    seen = []

    def refuse():
        seen.append(len(plant.cabinet.factory.pin(LINE).states))
        plant.runner._obey(plant.order(Act.RESET, 1e9))
        seen.append(len(plant.cabinet.factory.pin(LINE).states))

    plant.at(5.0, refuse)
    plant.run(most_s=6.0)
    assert seen[0] == seen[1] > 50


def test_what_is_unwell_lets_the_contactor_go_and_aborts_with_its_words(plant, over):
    start(plant, target="10 µm")
    plant.at(5.0, lambda: setattr(plant.cabinet.pins, "unwell", lambda: "the record is behind"))
    plant.run(until=lambda rig: over(rig) and not rig.cabinet.closed, most_s=60.0)
    assert ended(plant) == ("aborted", "device failed: the record is behind")
    assert plant.cabinet.edges_s[-1] - 1000 <= 5.06
    assert not plant.cabinet.closed


def test_a_line_that_cannot_be_driven_aborts(plant, over, mocker):
    start(plant, target="10 µm")
    pin = type(plant.cabinet.factory.pin(LINE))
    broken = RuntimeError("chip gone")
    plant.at(5.0, lambda: mocker.patch.object(pin, "_set_state", side_effect=broken))
    plant.run(until=over, most_s=60.0)
    state, reason = ended(plant)
    assert state == "aborted"
    assert reason == (
        "device failed: the contactor's heartbeat cannot be given: GPIO17, heartbeat: chip gone"
    )
    mocker.stopall()


@pytest.mark.parametrize(
    ("well", "lag_s", "fault", "words"),
    [
        (True, 0.0, None, None),
        (True, 600.0, "disk full", None),
        (True, 601.0, "disk full", "the record has taken nothing for 601 s: disk full"),
        (True, 601.0, None, "the record has taken nothing for 601 s: "),
        (False, 0.0, None, "the supply's thread hangs or has died"),
    ],
)
def test_worker_and_record_are_what_has_to_be_well(well, lag_s, fault, words):
    worker, writer = SimpleNamespace(well=well), SimpleNamespace(lag_s=lag_s, fault=fault)
    said = assembly._unwell(worker, writer)
    assert said == words or said.startswith(words)


# Interlocks.


def test_the_emergency_stop_aborts_and_letting_it_out_starts_nothing(plant):
    start(plant, target="10 µm")
    plant.at(5.0, lambda: press(plant))
    plant.at(10.0, lambda: setattr(plant.cabinet, "pressed", False))
    plant.run(most_s=60.0)
    state, reason = ended(plant)
    # Its loop and the auxiliary contact tell of it at the same time.
    assert (state, reason) == ("aborted", "interlock open: emergency stop")
    assert plant.cabinet.edges_s[-1] - 1000 <= 5.16
    assert not plant.cabinet.closed
    assert plant.situation.state is State.ABORTED


def test_a_lid_that_opens_holds_and_the_person_resumes(plant):
    start(plant, target="10 µm")
    plant.at(5.0, lambda: plant.cabinet.wired.discard(LID))
    early = plant.order(Act.RESUME, 15.0)
    plant.at(20.0, lambda: plant.cabinet.wired.add(LID))
    late = plant.order(Act.RESUME, 30.0)
    plant.run(most_s=45.0)
    assert early.error == "interlock open: lid"
    assert late.error is None
    assert plant.recorded("interlock") == ["interlock open: lid", "interlock closed again: lid"]
    assert plant.situation.run is not None


def test_a_broken_wire_keeps_a_run_from_starting(plant):
    plant.cabinet.wired.discard(STOP_BUTTON)
    order = start(plant)
    plant.run(most_s=5.0)
    assert order.error == "interlock open: emergency stop"
    assert not plant.recorded(RunOpened)
    assert plant.cabinet.edges_s == []


def test_a_contact_that_bounces_for_less_than_its_debounce_trips_nothing(plant):
    start(plant, target="10 µm")
    for n in range(20):
        plant.at(5.0 + 0.5 * n, lambda: plant.cabinet.wired.discard(STOP_BUTTON))
        plant.at(5.04 + 0.5 * n, lambda: plant.cabinet.wired.add(STOP_BUTTON))
    plant.run(until=lambda rig: seconds(rig) > 16.0, most_s=17.0)
    assert plant.recorded("interlock") == []


def test_a_loop_that_cannot_be_read_counts_as_open(plant, over, mocker):
    start(plant, target="10 µm")
    pin = plant.cabinet.factory.pin(LID)
    broken = RuntimeError("chip gone")
    read = type(pin)._get_state

    def fail(self):
        if self is pin:
            raise broken
        return read(self)

    plant.at(5.0, lambda: mocker.patch.object(type(pin), "_get_state", fail))
    plant.run(until=lambda rig: rig.situation.state is State.HELD, most_s=30.0)
    assert plant.recorded("interlock") == ["interlock open: lid"]
    mocker.stopall()


# Beacon, siren and button.


@pytest.mark.parametrize(("loop", "siren"), [(LID, False), (STOP_BUTTON, True)])
def test_a_loop_that_opens_lights_the_beacon_and_sounds_the_siren_as_the_table_says(
    plant, loop, siren
):
    cabinet, seen = plant.cabinet, []
    start(plant, target="10 µm")
    plant.at(4.0, lambda: seen.append(cabinet.signals()))
    plant.at(5.0, lambda: cabinet.wired.discard(loop))
    plant.at(6.0, lambda: seen.append(cabinet.signals()))
    plant.run(most_s=9.0)
    assert seen == [(False, False), (True, siren)]


def test_the_button_silences_the_siren_once_and_the_record_says_so(plant):
    cabinet, seen = plant.cabinet, []
    start(plant, target="10 µm")
    plant.at(5.0, lambda: press(plant))
    plant.at(8.0, lambda: cabinet.show(BUTTON, closed=True))  # and is never let go
    plant.at(9.0, lambda: seen.append(cabinet.signals()))
    plant.order(Act.RESET, 10.0)
    plant.at(11.0, lambda: setattr(cabinet, "pressed", False))
    start(plant, from_start_s=14.0, target="10 µm")
    plant.at(20.0, lambda: press(plant))
    plant.at(25.0, lambda: seen.append(cabinet.signals()))
    plant.run(most_s=26.0)
    assert seen == [(True, False), (True, True)]
    pressed = [each for each in plant.recorded(Audited) if each.who == "the button at the tank"]
    assert [(each.what, each.refused) for each in pressed] == [("acknowledge", None)]
    alarms = plant.recorded(AlarmChanged)
    assert {each.who for each in alarms if each.what == "acknowledged"} == {
        "the button at the tank"
    }


# The contactor.


def test_one_that_does_not_close_aborts_and_the_output_never_goes_on(plant, over):
    plant.cabinet.dead = True
    start(plant)
    plant.run(until=over, most_s=60.0)
    assert ended(plant) == ("aborted", "contactor fault: the contactor did not close within 2.0 s")
    assert plant.cabinet.supply.truth().charge_ah == 0.0


def test_one_that_opens_by_itself_aborts(plant, over):
    start(plant, target="10 µm")
    plant.at(5.0, lambda: setattr(plant.cabinet, "dead", True))
    plant.at(5.5, lambda: setattr(plant.cabinet, "dead", False))
    plant.run(until=over, most_s=60.0)
    state, reason = ended(plant)
    assert state == "aborted"
    assert reason.startswith("contactor fault: the contactor opened by itself")


def test_a_welded_one_is_told_of_and_nothing_starts_again(plant):
    start(plant, target="10 µm")
    plant.at(5.0, lambda: setattr(plant.cabinet, "welded", True))
    plant.order(Act.STOP, 10.0)
    again = start(plant, from_start_s=20.0)
    plant.run(most_s=30.0)
    assert ended(plant)[0] == "stopped"
    (told,) = plant.recorded("contactor did not open")
    assert told.startswith("contactor did not open: its auxiliary contact is closed 1.")
    assert again.error.startswith("contactor did not open")
    assert len(plant.recorded(RunOpened)) == 1


def test_an_auxiliary_contact_that_cannot_be_read_shows_what_should_not_be(plant, over, mocker):
    start(plant, target="10 µm")
    pin = plant.cabinet.factory.pin(AUXILIARY)
    read = type(pin)._get_state

    def fail(self):
        if self is pin:
            raise RuntimeError("chip gone")
        return read(self)

    plant.at(5.0, lambda: mocker.patch.object(type(pin), "_get_state", fail))
    again = start(plant, from_start_s=20.0)
    plant.order(Act.RESET, 15.0)
    plant.run(most_s=30.0)
    state, reason = ended(plant)
    assert state == "aborted"
    assert reason.startswith("contactor fault: the contactor opened by itself")
    assert again.error.startswith("contactor did not open")
    mocker.stopall()


# The settings' pins.

SETTINGS = """\
[supply]
port = "{port}"
[bath]
name = "Acid copper"
[page]
on = false
"""
PINS = """\
[contactor]
heartbeat_pin = 17
auxiliary_pin = 27
[[interlock]]
name = "emergency stop"
pin = 22
stop = "abort"
"""


@pytest.fixture
def factory(monkeypatch):
    factory = MockFactory()
    monkeypatch.setattr("drivers.pins.lines.pi_factory", lambda: factory)
    yield factory
    factory.close()


def written(tmp_path, text, port="/dev/null"):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS.format(port=port) + text, encoding="utf-8")
    return path


def test_the_settings_pins_are_claimed_with_the_line_low(tmp_path, factory):
    pins = make_pins(read_settings(written(tmp_path, PINS)))
    assert (factory.pin(17).function, factory.pin(17).state) == ("output", False)
    assert [factory.pin(pin).pull for pin in (27, 22)] == ["down", "down"]
    seen = pins.look(0.0)
    assert seen.open_loops == ("emergency stop",)
    assert seen.auxiliary_closed is False
    pins.close()
    pins.close()
    assert {factory.pin(pin).function for pin in (17, 22, 27)} == {"input"}


def test_signals_and_button_of_the_settings_are_claimed_and_off(tmp_path, factory):
    text = PINS + "[beacon]\npin = 20\n[siren]\npin = 5\nactive_level = 'low'\n"
    factory.pin(5).drive_high()  # as it is pulled while the Pi boots
    factory.pin(5).clear_states()
    pins = make_pins(read_settings(written(tmp_path, text + "[acknowledge_button]\npin = 26\n")))
    assert [factory.pin(pin).function for pin in (20, 5, 26)] == ["output", "output", "input"]
    assert [factory.pin(pin).state for pin in (20, 5, 26)] == [False, True, False]
    pins.look(0.0)
    factory.pin(26).drive_high()
    pins.look(0.05)
    assert pins.look(0.1).acknowledge_pressed
    pins.show(beacon=True, siren=True)
    assert [factory.pin(pin).state for pin in (20, 5)] == [True, False]
    pins.close()
    assert [[each.state for each in factory.pin(pin).states] for pin in (20, 5)] == [
        [False, True, False],
        [True, False, True],
    ]


@pytest.mark.parametrize("table", ["beacon", "siren", "acknowledge_button"])
def test_each_of_these_may_be_there_alone(tmp_path, factory, table):
    pins = make_pins(read_settings(written(tmp_path, f"[{table}]\npin = 26\n")))
    assert factory.pin(26).function == ("input" if table == "acknowledge_button" else "output")
    pins.close()


def test_without_pins_in_the_settings_none_is_touched(tmp_path, monkeypatch):
    monkeypatch.setattr("drivers.pins.lines.pi_factory", lambda: pytest.fail("touched"))
    pins = make_pins(read_settings(written(tmp_path, "")))
    seen = pins.look(0.0)
    assert (seen.open_loops, seen.auxiliary_closed) == ((), None)
    pins.beat()
    assert pins.trouble() is None
    pins.rest()
    pins.close()


def test_a_machine_without_pins_is_told_of_before_anything_is_opened(tmp_path, monkeypatch, capsys):
    def none():
        raise PinError("pins: the library lgpio is missing")

    monkeypatch.setattr("drivers.pins.lines.pi_factory", none)
    path = written(tmp_path, PINS)
    assert service.main(["--settings", str(path)]) == service.FAILED
    assert capsys.readouterr().err == "tankhand: pins: the library lgpio is missing\n"
    assert not (tmp_path / "record.sqlite").exists()


def test_the_daemon_itself_moves_the_line_during_a_run_and_leaves_it_low(tmp_path, factory):
    """The loop's process as it is put together, on a simulated supply's pty, in real time."""
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}
    seen = {}

    def person():
        """Start a run, see it plate, and end the daemon."""
        client = Client(tmp_path / "control.sock", timeout_s=10.0)
        try:
            until(lambda: client.status().current_a is not None)
            seen["idle"] = len(line.states)
            seen["answer"] = client.ask(StartRequest(plan=PLAN, who="Ann")).error
            until(lambda: len(line.states) > 3)
            auxiliary.drive_high()  # the contactor has closed
            until(lambda: (client.status().current_a or 0.0) > 0.1)
            seen["plating"] = len(line.states)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)

    def until(true):
        """Wait for what has to happen; the daemon may not be there yet."""
        give_up_s = time.monotonic() + 30.0
        while time.monotonic() < give_up_s:
            with suppress(DaemonUnreachableError):
                if true():
                    return
            time.sleep(0.02)
        raise AssertionError("did not happen")

    text = PINS.split("[[interlock]]")[0]
    with SimulatorProcess() as tank:
        path = written(tmp_path, text, tank.port)
        line, auxiliary = factory.pin(LINE), factory.pin(AUXILIARY)
        thread = threading.Thread(target=person)
        thread.start()
        code = service.main(["--settings", str(path)])
        thread.join()
    for number, handler in before.items():
        signal.signal(number, handler)
    assert (code, seen["idle"], seen["answer"]) == (0, 1, None)
    assert seen["plating"] > 3
    assert (line.function, line.states[-1].state) == ("input", False)
