"""The daemon's inside as `daemon.service.assembly` puts it together, no threads or processes."""

from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue
from sqlite3 import ProgrammingError

from sqlalchemy import event
from sqlalchemy.engine import Engine
from sqlalchemy.exc import DatabaseError

from daemon.api.plans.file import read_plan
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.control.protection.alarms import Alarms
from daemon.record.writer import COMMIT_EVERY_S, Writer
from daemon.service.assembly import RECORD_LIMIT_S, Link
from daemon.service.cycle.loop import Loop
from daemon.service.cycle.runner import Runner
from daemon.service.cycle.scribe import Origin, Scribe
from daemon.service.cycle.watching import make_lookout, make_watch, not_told
from daemon.service.devices.meter_worker import MeterWorker
from daemon.service.devices.pins import InterlockLoop, Pins
from daemon.service.devices.supply_worker import STUCK_S, SupplyWorker
from daemon.service.starts.interruption import INTERRUPTED, event_of, restart, sign_of
from daemon.service.telling.recipients import Pace, Recipient, Rules
from daemon.service.telling.teller import Teller
from drivers.contracts import Rating
from night.again import Asked
from night.memory import MemoryRecord

BATH = "night"
QUIET_FLUSH_S = 15.0
"""s between two commits while nothing happens: below what counts as behind."""


class Paced:
    """A worker, and when it wants its next turn. Its thread is the world's."""

    has_mail = False

    def read_at(self, monotonic_s):
        self.has_mail = True
        super().read_at(monotonic_s)

    @property
    def due_s(self):
        return min(self._due_s, self._extra_s)

    def pace(self, period_s, now_s):
        self._period_s = period_s
        self._due_s = min(self._due_s, now_s + period_s)


class PacedSupplyWorker(Paced, SupplyWorker):
    """The supply's."""

    def demand(self, demand):
        self.has_mail = True
        super().demand(demand)


class PacedMeterWorker(Paced, MeterWorker):
    """A meter's."""


class Disk:
    """The record's disk: it may be full, read-only, or hang. Those of a real file are real."""

    def __init__(self):
        self.state = "well"
        self._connections = []

    def watch(self):
        """Learn of each connection that is opened from now on, by a new process."""
        self._connections = []
        event.listen(Engine, "connect", self._connected)

    def forget(self):
        event.remove(Engine, "connect", self._connected)

    def become(self, state):
        self.state = state
        for connection in self._connections:
            with suppress(ProgrammingError):  # one that only looked whether it is a record
                self._tell(connection)

    def _tell(self, connection):
        pages = 1 if self.state == "full" else 1_000_000_000
        connection.execute(f"PRAGMA max_page_count={pages}")
        connection.execute(f"PRAGMA query_only={'ON' if self.state == 'read-only' else 'OFF'}")

    def _connected(self, connection, _):
        self._connections.append(connection)
        self._tell(connection)


class Daemon:
    """One life of the process. Raises what an opening device raises, when it cannot start.

    `entries` are all that the loop handed to the record, each with the world's time; those before
    `committed` are on the disk.
    """

    def __init__(self, world):
        self.world, night, clock = world, world.night, world.clock
        settings = night.settings()
        self.settings = settings
        self.mailbox = SimpleQueue()
        self.entries = []
        self.committed = 0
        self.flush_at_s = 0.0
        self.wants_flush = False
        self.pins = self._pins(settings, clock)
        p = night.scenario.supply
        self.rating = Rating(p.current_a, p.voltage_v, p.current_step_a, p.voltage_step_v)
        self.worker = PacedSupplyWorker(
            world.supply, self.rating, clock, night.period_s, self.mailbox.put
        )
        self.worker.open()
        doubt = settings.supply.accuracy.doubt(world.counting_head.step_a)
        limits = settings.limits(self.rating.current_step_a, night.period_s, doubt)
        # The longest time to the next cycle is that of quiet hours.
        self.limits = replace(limits, period_s=night.quiet_s)
        self.meters = self._meters(clock)
        self.writer = self._writer()
        origin = Origin(BATH, world.boot_id, lambda: world.is_synchronised)
        self.interrupted = self._recovered(clock, origin)
        facts = dict.fromkeys(
            ("supply", "shunt") if night.has_shunt else ("supply",),
            MeterFacts(Correction(), doubt),
        )
        self.panel = Panel(facts, night.counting, self.limits.gap_s)
        self.scribe = Scribe(self._put, origin, self.panel)
        self.teller = self._teller(clock)
        self._assemble(settings, clock)

    def _assemble(self, settings, clock):
        night = self.world.night
        counting = self.meters.get(night.counting, self.worker)
        teller, pins = self.teller, self.pins
        others = [lambda: not_told(teller, pins)]
        real = isinstance(self.writer, Writer)
        self.loop = Loop(
            clock,
            Link(self._demand, counting.read_at),
            self.panel,
            self.scribe,
            self.limits,
            self.writer.bath_charge_ah(BATH) if real else 0.0,
            make_watch(self.limits, settings.chosen_thresholds()),
            make_lookout(settings, self.limits, self.panel, self.writer, clock, others),
            pins,
            Alarms(next_number=self.writer.next_alarm_number() if real else 1),
            teller,
        )
        pins.unwell = self._unwell
        for run in self.interrupted:
            self.loop.note(event_of(run))
            self.loop.raise_once(sign_of(run))
        number = self.writer.next_run_id() if real else 1
        self.runner = Runner(
            self.loop, clock, night.period_s, self.mailbox, self.world.between, number
        )
        self.plan = read_plan(night.plan_text, "plan")

    def _pins(self, settings, clock):
        world, night = self.world, self.world.night
        loops = [
            InterlockLoop(each.name, world.loops[each.name], each.debounce)
            for each in settings.interlock
        ]
        signals = (
            {"beacon": world.beacon, "siren": world.siren, "button": world.button}
            if night.has_signals
            else {}
        )
        return Pins(
            world.contactor if night.has_contactor else None,
            world.auxiliary if night.has_auxiliary else None,
            loops,
            clock.monotonic_s,
            **signals,
        )

    def _meters(self, clock):
        world, night = self.world, self.world.night
        workers = {}
        if night.has_shunt:
            workers["shunt"] = PacedMeterWorker(
                "shunt", world.shunt, clock, night.period_s, self.mailbox.put
            )
        if night.has_thermometer:
            workers["bath"] = PacedMeterWorker(
                "bath", world.thermometer, clock, 10.0, self.mailbox.put
            )
        for worker in workers.values():
            worker.open()
        return workers

    def _writer(self):
        world, clock = self.world, self.world.clock
        if world.record is None:
            return MemoryRecord(clock.monotonic_s, world.the_disk)
        world.the_disk.watch()
        try:
            return Writer(
                Path(world.record),
                clock=clock,
                threaded=False,
                busy_timeout_ms=0,
                real_s=clock.monotonic_s,
            )
        finally:
            world.the_disk.forget()

    def _recovered(self, clock, origin):
        if self.world.record is None:
            return []
        try:
            found = self.writer.close_unfinished(INTERRUPTED, restart(clock, origin, self.rating))
            self.writer.ensure_bath(BATH)
        except DatabaseError:
            self.vanish()
            raise
        return found

    def _teller(self, clock):
        world = self.world
        if not world.night.is_told:
            return None
        return Teller(
            [(Recipient("phone"), lambda _: "no route" if world.network_down else None)],
            Rules(),
            Pace(),
            self.limits.table,
            "Tank",
            clock,
            real_s=clock.monotonic_s,
            threaded=False,
        )

    def _unwell(self):
        if self.world.hung_s > STUCK_S:
            return "the supply's thread hangs or has died"
        if self.writer.lag_s > RECORD_LIMIT_S:
            return f"the record has taken nothing for {self.writer.lag_s:.0f} s"
        return None

    def _demand(self, demand):
        self.entries.append((self.world.clock.now_s, Asked(self.world.clock.monotonic_s(), demand)))
        self.worker.demand(demand)

    def _put(self, entry):
        self.entries.append((self.world.clock.now_s, entry))
        self.world.checks.entry(entry)
        self.writer.put(entry)
        if type(entry).__name__ != "Sample":
            self.wants_flush = True

    @property
    def workers(self):
        return (self.worker, *self.meters.values())

    def pace(self, period_s, full):
        """Read so often from now on; at full rate commits come as they should."""
        now_s = self.world.clock.monotonic_s()
        if full:
            self.flush_at_s = min(self.flush_at_s, self.world.clock.now_s + COMMIT_EVERY_S)
        self.worker.pace(period_s, now_s)
        if "shunt" in self.meters:
            self.meters["shunt"].pace(period_s, now_s)
        if "bath" in self.meters:
            self.meters["bath"].pace(max(10.0, 8 * period_s), now_s)

    def flush(self, quiet):
        """What the record's thread does, at its moments."""
        now_s = self.world.clock.now_s
        if not self.wants_flush and now_s < self.flush_at_s:
            return
        self.flush_at_s = now_s + (QUIET_FLUSH_S if quiet else COMMIT_EVERY_S)
        self.wants_flush = False
        if self.world.the_disk.state == "slow":
            return
        before = len(self.entries)
        if self.writer.flush():
            self.committed = before
        else:
            self.flush_at_s = now_s + 30.0

    def end(self):
        """The orderly end, in the order of `daemon.service.assembly`, whatever of it fails."""
        with ExitStack() as stack:
            stack.callback(self._close_record)
            stack.callback(lambda: self.scribe.finish(self.world.clock.monotonic_s()))
            stack.callback(self.worker.stop)
            stack.callback(self.pins.close)

    def _close_record(self):
        self.world.the_disk.become("well")
        self.writer.close()
        self.committed = len(self.entries)

    def vanish(self):
        """The process is dead: nobody closes anything. What was committed is in the file."""
        if isinstance(self.writer, Writer):
            self.writer._engine.dispose()
            self.writer._lock.release()
