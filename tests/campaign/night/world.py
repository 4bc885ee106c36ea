"""One night from its seed: the world moves its clock to whoever is due next, and lets them act.

While anything happens the daemon reads as often as its settings say, and with pins its loop cycles
20 times a second. In quiet hours it reads as seldom as its gap limit allows; a contactor then lets
go that much later. Every moment of every fault and act lies in a stretch at full rate.
"""

import heapq
import shutil
from contextlib import suppress
from pathlib import Path
from random import Random
from tempfile import mkdtemp

from sqlalchemy.exc import DatabaseError

from daemon.control.states import OPEN
from daemon.record.errors import RecordError
from daemon.service.cycle.runner import REST_S, Quit
from daemon.service.devices.pins import CYCLE_S
from daemon.service.devices.supply_worker import STUCK_S
from drivers.errors import DriverError
from night.checks import Checks
from night.daemon import Daemon, Disk
from night.devices import (
    START_S,
    Auxiliary,
    Clock,
    Contact,
    Contactor,
    Head,
    Line,
    Shunt,
    Signal,
    Supply,
    Thermometer,
)
from night.drawn import LOOPS, Drawn
from night.people import People

BEFORE_S, AFTER_S = 5.0, 15.0
"""s at full rate before a fault begins or ends, and after it."""

GUARD_S = 0.02
"""s from the loop's death to the guard's "output off" (tests/benchmarks/off.py)."""

BEAT_LIMIT_S = 0.5
REST_PACE_S = 15.0
"""s from reading to reading in the quiet hours of a tank at rest, where nothing is counted."""

STANDSTILL = 100_000
"""Turns at one moment after which the world counts as broken itself."""

RESTARTS_S = {"loop": 1.5, "hung": 1.5, "all": 6.0, "reboot": 45.0}
"""s until the next process opens the line, at the least."""

SHM = Path("/dev/shm")


class KilledError(Exception):
    """The process ends here; nobody tidies up."""

    def __init__(self, how):
        super().__init__(how)
        self.how = how


class World:
    """The workshop in a night, and the daemon in it.

    `tamper` is called with each new process, to break it; a test of the campaign itself does.
    """

    def __init__(self, night, tamper=None):
        self.night = night if isinstance(night, Drawn) else Drawn(night)
        self.clock = Clock()
        self.end_s = START_S + 3600.0 * self.night.hours
        self._tamper = tamper
        self._agenda = []
        self._number = 0
        self.lasts_s = 0.0
        self._full_until_s = START_S + AFTER_S
        self._is_full = True
        self._pace_s = 0.0
        self._turns = (0.0, 0)
        self._told_s = 0.0
        self._hung_from_s = None
        self._holds = set()
        self._quit = False
        self.boot_id, self.is_synchronised = "boot 1", True
        self.network_down = self.load_off = False
        self.daemon = None
        self.the_disk = Disk()
        self._folder = None
        self.record = None
        self._build(self.night)
        self.checks = Checks(self)
        self.people = People(self)

    def _build(self, night):
        noise = Random(f"noise {night.seed}")
        self.line = Line(Random(f"line {night.seed}"))
        heads = {
            name: Head(gain, offset_a, step_a)
            for (name, (gain, offset_a)), step_a in zip(
                night.errors.items(), (0.001, 0.001), strict=True
            )
        }
        self.supply = Supply(
            self.clock, night.scenario, night.seed, heads["supply"], self.line, self._heard
        )
        self.supply.tells_output = night.tells_output
        self.shunt = Shunt(self.clock, self.supply, heads["shunt"], noise)
        self.thermometer = Thermometer(self.clock, self.supply)
        self.counting_head = heads[night.counting]
        self.contactor = Contactor(self.clock, self._beaten)
        self.auxiliary = Auxiliary(self.contactor)
        self.loops = {name: Contact(noise) for name in LOOPS}
        self.beacon, self.siren = Signal(), Signal()
        self.button = Contact(noise, closed=False)
        self.circuit()

    # Time.

    def at(self, moment_s, do):
        """Have this done at a moment of the world's clock."""
        self._number += 1
        heapq.heappush(self._agenda, (moment_s, self._number, do))

    def attend(self, for_s=AFTER_S):
        """Full rate from now on for so long."""
        self._full_until_s = max(self._full_until_s, self.clock.now_s + for_s)

    @property
    def hung_s(self):
        """For how long the supply's thread hangs, s."""
        return 0.0 if self._hung_from_s is None else self.clock.now_s - self._hung_from_s

    @property
    def pace_s(self):
        """The time from reading to reading now, s."""
        return self._pace_s

    @property
    def is_full(self):
        """Whether everything runs at full rate."""
        return self._is_full

    # The night.

    def run(self):
        """Live through the night; what was found broken."""
        try:
            if self.night.keeps:
                self._folder = Path(mkdtemp(dir=SHM if SHM.is_dir() else None))
                self.record = self._folder / "record.sqlite"
            self._plan_incidents()
            self.people.begin()
            while not self._quit and self.clock.now_s < self.end_s:
                self._one_life()
            self.checks.night_over()
        finally:
            if self._folder is not None:
                shutil.rmtree(self._folder)
        return self.checks

    def _plan_incidents(self):
        for incident in self.night.incidents:
            begin_s = START_S + incident.at_s
            self.at(begin_s - BEFORE_S, lambda: self.attend(BEFORE_S + AFTER_S))
            self.at(begin_s, lambda incident=incident: self._begin(incident))

    def _begin(self, incident):
        fault = incident.fault
        self.lasts_s = incident.lasts_s
        self.checks.begun(fault, incident.lasts_s)
        end = fault.begin(self, self.night.course)
        end_s = self.clock.now_s + incident.lasts_s
        self.attend()
        self.at(end_s - BEFORE_S, lambda: self.attend(BEFORE_S + AFTER_S))

        def over():
            if end is not None:
                end()
            self.checks.ended(fault)

        self.at(end_s, over)

    def _one_life(self):
        """From one start of the process to its end or death."""
        try:
            self.daemon = Daemon(self)
        except (DriverError, RecordError, DatabaseError) as error:
            self.checks.note(f"no start: {error}")
            self._pass_until(self.clock.now_s + 5.0)
            return
        if self._tamper is not None:
            self._tamper(self.daemon)
        self._pace_s = 0.0
        self._set_pace()
        self.checks.new_life(self.daemon)
        self.people.started_anew(self.daemon)
        try:
            self.daemon.runner.run()
        except KilledError as killed:
            self._die(killed.how)
            return
        with suppress(DriverError):  # told to people by `main`; the night goes on without it
            self.daemon.end()
        self.see_contactor()
        self.checks.ended_well()
        self.daemon = None

    def _die(self, how):
        dead, self.daemon = self.daemon, None
        self._hung_from_s = None
        self._holds.clear()
        self.line.hung = False
        dead.vanish()
        self.checks.died(dead, how)
        now_s = self.clock.now_s
        if how in ("loop", "hung"):
            after_s = GUARD_S if how == "loop" else BEAT_LIMIT_S
            self.at(now_s + after_s, self.supply.switch_off_past_the_loop)
        least_s = RESTARTS_S[how]
        restart_s = now_s + least_s * (1.0 + self.night.course.expovariate(1.0))
        self._pass_until(restart_s)
        if how == "reboot":
            self.boot_id = f"boot at {restart_s:.0f}"
            self.clock.boot_s = restart_s - 20.0
            behind_s = self.night.course.uniform(0.0, 60.0)
            self.clock.wall_offset_s -= behind_s
            self.is_synchronised = False
            self.at(restart_s + 30.0, lambda: self._synchronise(behind_s))

    def _synchronise(self, behind_s):
        self.clock.wall_offset_s += behind_s
        self.is_synchronised = True

    def _pass_until(self, until_s):
        """Time passes with no process there."""
        self.attend(until_s - self.clock.now_s + AFTER_S)
        while self.clock.now_s < until_s:
            next_s = min(until_s, self.contactor.due_s, self.clock.now_s + 0.1)
            if self._agenda:
                next_s = min(next_s, self._agenda[0][0])
            self.clock.now_s = max(self.clock.now_s, next_s)
            self._do_what_is_due()
            self.checks.without_a_process()

    # Between two turns of the loop.

    def between(self):
        """The loop has made a cycle: judge it, and let time pass until the next has a cause."""
        daemon = self.daemon
        situation = daemon.loop.situation
        self.see_contactor()
        self.checks.cycle(situation)
        self.people.see(situation)
        if situation.wind_down is not None:
            self.attend(5.0)
        self._set_pace()
        now_s = self.clock.now_s
        if not self._quit and now_s >= self.end_s:
            self._quit = True
            daemon.mailbox.put(Quit("SIGTERM"))
        loop_s = now_s + self._rest_s()
        if daemon.loop.wake_at_s is not None:
            loop_s = min(loop_s, self.clock.world_s(daemon.loop.wake_at_s))
        while daemon.mailbox.empty():
            # However long exchanges take: the loop's thread waits for none.
            if self._workers_turn(daemon) and self.clock.now_s < loop_s:
                continue
            if not self._pass(daemon, loop_s):
                return

    def _rest_s(self):
        if not self._is_full:
            return 1.5 * self._pace_s
        has_pins = self.night.has_contactor or self.night.has_loops or self.night.has_signals
        return CYCLE_S if has_pins else REST_S

    def _workers_turn(self, daemon):
        """Whether a worker had something to do, and has done it."""
        monotonic_s = self.clock.monotonic_s()
        worked = False
        for worker in daemon.workers:
            if worker is daemon.worker and self.line.hung:
                continue
            if worker.has_mail or worker.due_s <= monotonic_s:
                worker.has_mail = False
                worker.turn()
                worked = True
        return worked

    def _pass(self, daemon, loop_s):
        """Time goes to what is due next. False when that is the loop itself, at `loop_s`."""
        daemon.flush(quiet=not self._is_full)
        self._send(daemon)
        next_s = loop_s
        for worker in daemon.workers:
            if not (worker is daemon.worker and self.line.hung):
                next_s = min(next_s, self.clock.world_s(worker.due_s))
        next_s = min(next_s, self.contactor.due_s)
        if self._agenda:
            next_s = min(next_s, self._agenda[0][0])
        self.clock.now_s = max(self.clock.now_s, next_s)
        self._do_what_is_due()
        self._must_move_on()
        self._set_pace()
        if self.hung_s > STUCK_S + BEAT_LIMIT_S:
            raise KilledError("hung")  # no beats any more: the guard starts a new loop
        return self.clock.now_s < loop_s

    def _do_what_is_due(self):
        while self._agenda and self._agenda[0][0] <= self.clock.now_s:
            heapq.heappop(self._agenda)[2]()
        self.see_contactor()

    def _send(self, daemon):
        """What the threads do that tell people."""
        if daemon.teller is None or self.clock.now_s < self._told_s:
            return
        self._told_s = self.clock.now_s + (1.0 if self._is_full else 30.0)
        daemon.teller.turn()
        daemon.teller.work()

    def _set_pace(self):
        """As often as the settings say, or as seldom as quiet hours allow."""
        night = self.night
        full = self._is_full = self.clock.now_s < self._full_until_s
        pace_s = night.period_s
        if not full:
            situation = self.daemon.loop.situation
            rests = situation.state not in OPEN and situation.wind_down is None
            pace_s = REST_PACE_S if rests else night.quiet_s
        if pace_s != self._pace_s:
            self._pace_s = pace_s
            self.daemon.pace(pace_s, full)
            usual_s = Contactor.LETS_GO_S
            self.contactor.let_go_s = usual_s if full else usual_s + 2.0 * pace_s

    def _must_move_on(self):
        at_s, turns = self._turns
        self._turns = (self.clock.now_s, turns + 1 if at_s == self.clock.now_s else 0)
        if turns > STANDSTILL:
            raise RuntimeError(f"seed {self.night.seed}: time stands still at {at_s}")

    # What things do to each other.

    def circuit(self):
        """The cell's circuit is as contactor and hooks leave it."""
        bench = self.supply.bench
        bench.advance_to(self.clock.now_s)
        apart = self.night.has_contactor and not self.contactor.closed
        bench.tank.set_broken(self.load_off or apart)
        bench.supply.tank_changed()

    def see_contactor(self):
        """Let the contactor move if it is time to, and the circuit with it."""
        if self.night.has_contactor and self.contactor.moved():
            if self.supply.true_a() > 0.0:
                self.checks.broke_the_circuit()
            self.circuit()

    def disk(self, state):
        """The record's disk becomes full, read-only or slow; gives what mends it."""
        self.the_disk.become(state)
        return lambda: self.the_disk.become("well")

    def hang(self):
        """The supply's thread hangs; gives what frees it, once nothing else holds it."""
        cause = object()
        self._holds.add(cause)
        self.line.hung = True
        if self._hung_from_s is None:
            self._hung_from_s = self.clock.now_s

        def end():
            self._holds.discard(cause)
            if not self._holds:
                self.line.hung = False
                self._hung_from_s = None

        return end

    def kill(self, how):
        """The process dies, if there is one."""
        if self.daemon is not None:
            raise KilledError(how)

    def _heard(self, **command):
        if self.daemon is not None:
            self.checks.commanded(self.daemon, **command)

    def _beaten(self):
        if self.daemon is not None:
            self.checks.beaten(self.daemon)
