"""Puts the loop's process together in four stages, each made of those before it.

What is wired to the machine, the record and what it tells, the loop with all that watches, and who
answers over the control socket. Every stage leaves on `stack` what takes it apart again.
"""

import threading
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

from daemon.api.effects import rows as effects_rows
from daemon.api.plans.kept import plans_at
from daemon.api.socket.plans import InterlockSeen
from daemon.clock import Clock
from daemon.control.panel import Panel
from daemon.control.protection.alarms import Alarms
from daemon.control.situation import Demand, Event, Limits
from daemon.control.states import OPEN, Act
from daemon.record.recovery import Unfinished
from daemon.record.writer import Writer
from daemon.service import machine
from daemon.service.cycle.loop import Loop
from daemon.service.cycle.runner import Mail
from daemon.service.cycle.scribe import Origin, Scribe
from daemon.service.cycle.watching import make_lookout, make_watch, not_told
from daemon.service.devices.assembly import Meters, make_meters, make_supply
from daemon.service.devices.meter_worker import Device, MeterWorker
from daemon.service.devices.pins import Pins, make_pins
from daemon.service.devices.ripples import RippleWatch, burst_length_s
from daemon.service.devices.supply_worker import SupplyWorker
from daemon.service.keeping.access import keep_untold
from daemon.service.keeping.bath import BathKeeper, book_by
from daemon.service.keeping.calibration import Calibrator, known_meters
from daemon.service.keeping.parts import PartKeeper
from daemon.service.keeping.plans import PlanKeeper
from daemon.service.keeping.words import Words
from daemon.service.proof.assembly import make_prover
from daemon.service.proof.due import Proving
from daemon.service.proof.prover import Prover
from daemon.service.pumps.assembly import make_doser
from daemon.service.pumps.dose_entries import enter_unfinished
from daemon.service.pumps.doser import Doser, Ways
from daemon.service.pumps.pump_status import pump_statuses
from daemon.service.rehearsal.apart import Apart
from daemon.service.rehearsal.foreteller import Foreteller, start_of
from daemon.service.rehearsal.held_against import is_under_way
from daemon.service.settings.file import Settings
from daemon.service.settings.in_force import InForce
from daemon.service.socket.desk import Desk
from daemon.service.socket.server import ControlServer
from daemon.service.socket.status import Speaker
from daemon.service.starts.going_on import unfinished_by
from daemon.service.starts.interruption import INTERRUPTED, event_of, restart, sign_of
from daemon.service.starts.known import known_by
from daemon.service.supervision.proven import proven_first
from daemon.service.telling.teller import make_teller
from drivers.channels.devices import ChannelMeter
from drivers.contracts import Rating

THERMOMETER_PERIOD_S = 10.0
"""s. A bath of litres does not change faster than this shows."""

RECORD_LIMIT_S = 600.0
"""Real s for which the disk may take nothing before a contactor is let go. Until then all of it
waits in the queue, and a card's longest stalls are some seconds; a power cut would lose it."""


@dataclass(frozen=True, slots=True)
class Site:
    """What every stage is made with.

    path: the settings' file. mailbox: the loop's, for anybody's mail. stack: takes all apart in the
    reverse order.
    """

    settings: Settings
    path: Path
    clock: Clock
    mailbox: SimpleQueue[Mail]
    stack: ExitStack


@dataclass(frozen=True, slots=True)
class Wired:
    """What is wired to this machine, claimed and open, none of its workers started.

    supply: what it says it is. others: a worker for each meter and thermometer besides the supply.
    """

    pins: Pins
    supply: str
    rating: Rating
    worker: SupplyWorker
    meters: Meters
    limits: Limits
    others: Mapping[str, MeterWorker]

    @property
    def counting(self) -> SupplyWorker | MeterWorker:
        """The worker of the meter that counts."""
        return self.others.get(self.meters.counting, self.worker)


def wire(site: Site) -> Wired:
    """Claim the pins, which lets the contactor open, and then the supply, which goes off.

    Raises `DriverError`, and `DescriptionError` for a description that cannot be used.
    """
    settings, clock = site.settings, site.clock
    pins = make_pins(settings)
    site.stack.callback(pins.close)
    supply, rating = make_supply(settings, clock)
    worker = SupplyWorker(supply, rating, clock, settings.loop.period, site.mailbox.put)
    worker.open()
    site.stack.callback(worker.stop)
    meters = make_meters(settings, clock, rating)
    limits = meters.limits(settings, rating)
    others = _other_workers(site, meters, limits)
    return Wired(pins, supply.identity, rating, worker, meters, limits, others)


@dataclass(frozen=True, slots=True)
class Books:
    """The record, and what it tells at a start: runs that were cut short, doses that were begun."""

    writer: Writer
    origin: Origin
    bath: BathKeeper
    interrupted: list[Unfinished]
    doses: tuple[Event, ...]


def open_books(site: Site, wired: Wired) -> Books:
    """Open the record and close in it what a dead daemon left open. Waits for the disk.

    Raises `RecordError` and sqlalchemy.exc.DatabaseError.
    """
    settings, clock = site.settings, site.clock
    writer = Writer(settings.record.path, clock=clock)
    site.stack.callback(writer.close)
    # At the end the output goes off first: the disk may be slow to take everything.
    site.stack.callback(wired.worker.stop)
    keep_untold(writer, settings.record.path, clock)
    origin = Origin(settings.bath.name, machine.boot_id(), machine.clock_synchronised)
    interrupted = writer.close_unfinished(INTERRUPTED, restart(clock, origin, wired.rating))
    writer.ensure_bath(settings.bath.name)
    bath = settings.bath.description()
    doses = enter_unfinished(writer, bath.name, clock)
    book = book_by(settings.record.path, bath, clock, site.stack)
    keeper = BathKeeper(bath, writer, clock, book)
    keeper.describe()
    return Books(writer, origin, keeper, interrupted, doses)


@dataclass(frozen=True, slots=True)
class Heart:
    """The loop, and what beats with it."""

    loop: Loop
    panel: Panel
    doser: Doser
    words: Words
    proving: Proving
    calibrator: Calibrator


def make_heart(site: Site, wired: Wired, books: Books) -> Heart:
    """Make the loop with its detectors, alarms, messages and pumps; tell it what was cut short."""
    settings, clock = site.settings, site.clock
    writer, limits, pins = books.writer, wired.limits, wired.pins
    doubts, calibrations = wired.meters.doubts(), writer.calibrations()
    panel = Panel(known_meters(doubts, calibrations), wired.meters.counting, limits.gap_s)
    scribe = Scribe(writer.put, books.origin, panel)
    site.stack.callback(lambda: scribe.finish(clock.monotonic_s()))
    teller = make_teller(settings.tell, settings.telling, limits.table, settings.bath.name, clock)
    if teller is not None:
        site.stack.callback(teller.close)
    words = Words(writer, site.mailbox.put, clock)
    proving = Proving(settings, words, clock)
    others = [lambda: not_told(teller, pins), proving.sign]
    ways = Ways(writer.put, writer.promise, lambda: books.bath.dues)
    doser = make_doser(settings, pins, limits.table, ways)
    loop = Loop(
        clock,
        Link(wired.worker.demand, wired.counting.read_at),
        panel,
        scribe,
        limits,
        writer.bath_charge_ah(settings.bath.name),
        make_watch(limits, settings.chosen_thresholds()),
        make_lookout(settings, limits, panel, writer, clock, others),
        pins,
        Alarms(next_number=writer.next_alarm_number()),
        teller,
        doser,
    )
    pins.unwell = lambda: _unwell(wired.worker, writer)
    for dose in books.doses:
        loop.note(dose)
    for run in books.interrupted:
        loop.note(event_of(run))
        loop.raise_once(sign_of(run))
    calibrator = Calibrator(
        doubts, calibrations, writer.keep_calibration, panel.learn,
        lambda: loop.situation.state in OPEN, clock,
    )  # fmt: skip
    return Heart(loop, panel, doser, words, proving, calibrator)


@dataclass(frozen=True, slots=True)
class Answering:
    """Who answers over the control socket, and who leads proof tests."""

    server: ControlServer
    prover: Prover


def make_answering(
    site: Site, wired: Wired, books: Books, heart: Heart, prove_off: Callable[[], str | None]
) -> Answering:
    """Make the control socket's server, not yet started, with all that it asks.

    `prove_off` has the guard try its own way to switch the output off: None if it works, otherwise
    why not.
    """
    settings, clock, loop, words = site.settings, site.clock, heart.loop, heart.words
    name, record = settings.bath.name, settings.record.path
    prover = make_prover(
        settings, wired.limits, loop, heart.doser, heart.proving.due, words.keep_proof, clock
    )
    heart.doser.busy = lambda: prover.under_way and "a proof test is under way"
    speaker = Speaker(
        loop,
        heart.panel,
        clock,
        books.writer,
        wired.supply,
        name,
        lambda: prover.under_way,
        heart.doser.dues,
        lambda: words.unsettled,
        lambda: pump_statuses(heart.doser.seen),
    )
    apart = Apart(site.path.absolute(), threading.Lock())
    foreteller = Foreteller(
        lambda request: apart.rehearse(request, wait=True),
        site.mailbox.put,
        lambda run_id: is_under_way(loop.situation, run_id),
    )
    site.stack.callback(foreteller.stop)
    desk = Desk(
        heart.calibrator.calibrate,
        words.settle,
        books.bath.enter,
        heart.doser.dues,
        unfinished_by(record, site.stack),
        heart.proving.keeps_from_starting,
        words.not_kept,
        PartKeeper(books.writer, clock).keep,
        known_by(record, name, site.stack),
        lambda asked: apart.rehearse(apart.of(asked, loop.bath_c)),
        lambda run_id, start: foreteller.begin(run_id, start_of(apart, start, loop.bath_c)),
        words.access,
        PlanKeeper(plans_at(record), books.writer, clock),
        lambda: loop.refusals(Act.START),
        lambda: tuple(
            InterlockSeen(name=each.name, is_open=each.name in loop.situation.open_loops)
            for each in settings.interlock
        ),
    )
    server = ControlServer(
        settings.daemon.socket,
        speaker.status,
        proven_first(lambda: wired.worker.lend(prove_off), site.mailbox.put),
        wired.meters.narrowed(wired.rating),
        heart.panel,
        desk,
        prover,
        effects_rows(wired.limits.table),
        InForce(site.path, settings).seen,
    )
    return Answering(server, prover)


def _unwell(worker: SupplyWorker, writer: Writer) -> str | None:
    """What forbids to keep a contactor closed, though the loop itself runs."""
    if not worker.well:
        return "the supply's thread hangs or has died"
    if writer.lag_s > RECORD_LIMIT_S:
        return (
            f"the record has taken nothing for {writer.lag_s:.0f} s: {writer.fault or 'it hangs'}"
        )
    return None


@dataclass(frozen=True, slots=True)
class Link:
    """The supply that is driven, and the meter that counts, as the loop sees them."""

    demand: Callable[[Demand], None]
    read_at: Callable[[float], None]


def _other_workers(site: Site, meters: Meters, limits: Limits) -> dict[str, MeterWorker]:
    """A worker for each meter and thermometer, open and not yet started."""
    settings = site.settings
    periods = {table.name: table.period for table in (*settings.meter, *settings.thermometer)}
    workers = {}
    devices: dict[str, Device] = {**meters.meters, **meters.thermometers}
    for name, device in devices.items():
        slow = THERMOMETER_PERIOD_S if name in meters.thermometers else settings.loop.period
        ripple = _ripple_watch(device, settings.supply.mains_hz, limits)
        period_s = periods[name] or slow
        worker = MeterWorker(name, device, site.clock, period_s, site.mailbox.put, ripple)
        worker.open()
        site.stack.callback(worker.stop)
        workers[name] = worker
    return workers


def _ripple_watch(device: Device, mains_hz: float, limits: Limits) -> RippleWatch | None:
    """Whoever looks for ripple at this device; None where there is no current to be read fast."""
    duration_s = burst_length_s(limits.gap_s, mains_hz)
    if not isinstance(device, ChannelMeter) or not device.reads_current or duration_s is None:
        return None
    return RippleWatch(device.burst, duration_s, mains_hz, limits.gone_a)
