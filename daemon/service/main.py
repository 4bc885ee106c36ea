"""The loop's process: devices, loop, record and control socket, put together and taken apart.

Started by the guard. It says "ready" over the beat pipe once it samples; before that it ends with
one clear error on stderr and a code that is not 0.
"""

import argparse
import gc
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from types import FrameType

from sqlalchemy.exc import DatabaseError

from daemon.api.effects import rows as effects_rows
from daemon.api.errors import InputError
from daemon.clock import Clock
from daemon.control.panel import Panel
from daemon.control.protection.alarms import Alarms
from daemon.control.situation import Demand, Limits
from daemon.control.states import OPEN
from daemon.record.errors import RecordError
from daemon.record.store import refusal
from daemon.record.writer import Writer
from daemon.service import machine
from daemon.service.bath_keeping import BathKeeper, book_by
from daemon.service.beat import BeatSender, Ready, watch_lifeline
from daemon.service.calibrating import Calibrator, known_meters
from daemon.service.devices.assembly import Meters, make_meters, make_supply
from daemon.service.devices.meter_worker import Device, MeterWorker
from daemon.service.devices.pins import CYCLE_S, make_pins
from daemon.service.devices.ripples import RippleWatch, burst_length_s
from daemon.service.devices.supply_worker import SupplyWorker
from daemon.service.going_on import unfinished_by
from daemon.service.interruption import INTERRUPTED, event_of, restart, sign_of
from daemon.service.known import known_by
from daemon.service.loop import Loop
from daemon.service.part_keeping import PartKeeper
from daemon.service.proof.assembly import make_prover
from daemon.service.proof.due import Proving
from daemon.service.proven import proven_first
from daemon.service.pumps.assembly import make_doser
from daemon.service.pumps.dose_entries import enter_unfinished
from daemon.service.pumps.doser import Ways
from daemon.service.pumps.pump_status import pump_statuses
from daemon.service.realtime import become_prompt
from daemon.service.rehearsal.apart import Apart
from daemon.service.rehearsal.foreteller import Foreteller, start_of
from daemon.service.rehearsal.held_against import is_under_way
from daemon.service.resuming import Resumer
from daemon.service.runner import REST_S, Mail, Quit, Runner
from daemon.service.scribe import Origin, Scribe
from daemon.service.server import ControlServer, Desk, SocketUnusableError
from daemon.service.settings import Settings, read_settings
from daemon.service.status import Speaker
from daemon.service.telling.teller import make_teller
from daemon.service.watching import make_lookout, make_watch, not_told
from daemon.service.words import Words
from daemon.units import parse
from drivers.channels.devices import ChannelMeter
from drivers.errors import DriverError

BAD_INPUT = 2
"""Exit code when what people wrote cannot be used."""

FAILED = 1
"""Exit code when the record, the port or the supply cannot be used."""

THERMOMETER_PERIOD_S = 10.0
"""s. A bath of litres does not change faster than this shows."""

RECORD_LIMIT_S = 600.0
"""Real s for which the disk may take nothing before a contactor is let go. Until then all of it
waits in the queue, and a card's longest stalls are some seconds; a power cut would lose it."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one loop process; returns its exit code, 0 after an orderly end."""
    parser = argparse.ArgumentParser(prog="tankhand loop")
    parser.add_argument("--settings", type=Path, required=True)
    parser.add_argument("--beat", type=int)
    parser.add_argument("--answers", type=int)
    parser.add_argument("--lifeline", type=int)
    options = parser.parse_args(arguments)
    if (late := become_prompt()) is not None:
        sys.stderr.write(f"tankhand: {late}\n")
    try:
        settings = read_settings(options.settings)
        with ExitStack() as stack:
            beat = BeatSender(options.beat, options.answers)
            runner = _assemble(settings, options.settings, beat, options.lifeline, stack)
            # What is loaded by now stays. Looking through all of it again and again for garbage
            # would stop the loop for tens of milliseconds each time.
            gc.freeze()
            stopped = runner.run()
    except InputError as error:
        return _refuse(error, BAD_INPUT)
    except DatabaseError as error:
        return _refuse(f"{settings.record.path}: {refusal(error)}", FAILED)
    except (RecordError, DriverError, SocketUnusableError, OSError) as error:
        return _refuse(error, FAILED)
    if not stopped:
        return _refuse("the current was not seen gone before the end", FAILED)
    return 0


def _refuse(error: Exception | str, code: int) -> int:
    sys.stderr.write(f"tankhand: {error}\n")
    return code


def _assemble(
    settings: Settings, path: Path, beat: BeatSender, lifeline: int | None, stack: ExitStack
) -> Runner:
    """Everything that runs, in the order of safety; `stack` takes it apart in the reverse order.

    The pins are claimed first, which lets the contactor open; then the supply's line is opened,
    which switches its output off.
    """
    pins = make_pins(settings)
    stack.callback(pins.close)
    clock = settings.clock()
    mailbox: SimpleQueue[Mail] = SimpleQueue()
    supply, rating = make_supply(settings, clock)
    worker = SupplyWorker(supply, rating, clock, settings.loop.period, mailbox.put)
    worker.open()
    stack.callback(worker.stop)
    meters = make_meters(settings, clock, rating)
    limits = meters.limits(settings, rating)
    others = _other_workers(settings, meters, limits, clock, mailbox, stack)
    writer = Writer(settings.record.path, clock=clock)
    stack.callback(writer.close)
    # At the end the output goes off first: the disk may be slow to take everything.
    stack.callback(worker.stop)
    origin = Origin(settings.bath.name, machine.boot_id(), machine.clock_synchronised)
    interrupted = writer.close_unfinished(INTERRUPTED, restart(clock, origin, rating))
    writer.ensure_bath(settings.bath.name)
    bath = settings.bath.description()
    doses = enter_unfinished(writer, bath.name, clock)
    keeper = BathKeeper(bath, writer, clock, book_by(settings.record.path, bath, clock, stack))
    keeper.describe()
    bath_ah = writer.bath_charge_ah(settings.bath.name)
    doubts, kept = meters.doubts(), writer.calibrations()
    panel = Panel(known_meters(doubts, kept), meters.counting, limits.gap_s)
    counting = others.get(meters.counting, worker)
    link = Link(worker.demand, counting.read_at)
    scribe = Scribe(writer.put, origin, panel)
    stack.callback(lambda: scribe.finish(clock.monotonic_s()))
    standing = Alarms(next_number=writer.next_alarm_number())
    teller = make_teller(settings.tell, settings.telling, limits.table, settings.bath.name, clock)
    if teller is not None:
        stack.callback(teller.close)
    words = Words(writer, mailbox.put, clock)
    proving = Proving(settings, words, clock)
    lookout = make_lookout(
        settings, limits, panel, writer, clock, [lambda: not_told(teller, pins), proving.sign]
    )
    watch = make_watch(limits, settings.chosen_thresholds())
    ways = Ways(writer.put, writer.promise, lambda: keeper.dues)
    doser = make_doser(settings, pins, limits.table, ways)
    loop = Loop(
        clock, link, panel, scribe, limits, bath_ah, watch, lookout, pins, standing, teller, doser
    )
    pins.unwell = lambda: _unwell(worker, writer)
    for dose in doses:
        loop.note(dose)
    for run in interrupted:
        loop.note(event_of(run))
        loop.raise_once(sign_of(run))
    prover = make_prover(settings, limits, loop, doser, proving.due, words.keep_proof, clock)
    doser.busy = lambda: prover.under_way and "a proof test is under way"
    speaker = Speaker(
        loop,
        panel,
        clock,
        writer,
        supply.identity,
        settings.bath.name,
        lambda: prover.under_way,
        doser.dues,
        lambda: words.unsettled,
        lambda: pump_statuses(doser.seen),
    )
    calibrator = Calibrator(
        doubts, kept, writer.keep_calibration, panel.learn,
        lambda: loop.situation.state in OPEN, clock,
    )  # fmt: skip
    apart = Apart(path.absolute(), threading.Lock())
    foreteller = Foreteller(
        lambda request: apart.rehearse(request, wait=True),
        mailbox.put,
        lambda run_id: is_under_way(loop.situation, run_id),
    )
    stack.callback(foreteller.stop)
    server = ControlServer(
        settings.daemon.socket,
        speaker.status,
        proven_first(lambda: worker.lend(beat.prove), mailbox.put),
        meters.narrowed(rating),
        panel,
        Desk(
            calibrator.calibrate,
            words.settle,
            keeper.enter,
            doser.dues,
            unfinished_by(settings.record.path, stack),
            proving.keeps_from_starting,
            words.not_kept,
            PartKeeper(writer, clock).keep,
            known_by(settings.record.path, settings.bath.name, stack),
            lambda asked: apart.rehearse(apart.of(asked, loop.bath_c)),
            lambda run_id, start: foreteller.begin(run_id, start_of(apart, start, loop.bath_c)),
        ),
        prover,
        effects_rows(limits.table),
    )
    # The first quantity that is read loads pint, which takes a good part of a second: now, not when
    # somebody hands in a plan while the loop has to be on time.
    parse("1 A", "A")
    _quit_on(mailbox, lifeline)
    worker.start()
    for other in others.values():
        other.start()
    server.start()
    stack.callback(server.stop)
    stack.callback(prover.stop)
    run_id = settings.after_interruption.run_to_go_on(interrupted)
    if run_id is not None:
        resumer = Resumer(run_id, server.answer)
        resumer.start()
        stack.callback(resumer.stop)
    beat.ready(
        Ready(
            beat_limit_s=settings.guard.beat_limit,
            socket=str(settings.daemon.socket),
            record=str(settings.record.path),
            listen=settings.page.listen if settings.page.on else None,
            supply=supply.identity,
        )
    )

    def beat_if_well() -> None:
        if worker.well:
            beat.beat()

    # Whatever ends the loop, its contactor opens before anything else is taken apart.
    stack.callback(pins.close)
    rest_s = CYCLE_S if settings.has_pins else REST_S
    return Runner(
        loop, clock, settings.loop.period, mailbox, beat_if_well, writer.next_run_id(), rest_s
    )


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


def _other_workers(
    settings: Settings,
    meters: Meters,
    limits: Limits,
    clock: Clock,
    mailbox: SimpleQueue[Mail],
    stack: ExitStack,
) -> dict[str, MeterWorker]:
    """A worker for each meter and thermometer, open and not yet started."""
    periods = {table.name: table.period for table in (*settings.meter, *settings.thermometer)}
    workers = {}
    devices: dict[str, Device] = {**meters.meters, **meters.thermometers}
    for name, device in devices.items():
        slow = THERMOMETER_PERIOD_S if name in meters.thermometers else settings.loop.period
        ripple = _ripple_watch(device, settings.supply.mains_hz, limits)
        worker = MeterWorker(name, device, clock, periods[name] or slow, mailbox.put, ripple)
        worker.open()
        stack.callback(worker.stop)
        workers[name] = worker
    return workers


def _ripple_watch(device: Device, mains_hz: float, limits: Limits) -> RippleWatch | None:
    """Whoever looks for ripple at this device; None where there is no current to be read fast."""
    duration_s = burst_length_s(limits.gap_s, mains_hz)
    if not isinstance(device, ChannelMeter) or not device.reads_current or duration_s is None:
        return None
    return RippleWatch(device.burst, duration_s, mains_hz, limits.gone_a)


def _quit_on(mailbox: SimpleQueue[Mail], lifeline: int | None) -> None:
    """End on SIGTERM, SIGINT, and the guard's death. A handler only posts: that is reentrant."""

    def on_signal(number: int, frame: FrameType | None) -> None:  # noqa: ARG001
        mailbox.put(Quit(signal.Signals(number).name))

    signal.signal(signal.SIGTERM, on_signal)
    signal.signal(signal.SIGINT, on_signal)
    if lifeline is not None:
        watch_lifeline(lifeline, lambda: mailbox.put(Quit("the guard's death")))


if __name__ == "__main__":
    # pint takes numpy wherever it finds it. Here nobody wants arrays: without them this process
    # starts sooner, is smaller, and owes nothing to a library of compiled code.
    sys.modules["numpy"] = None  # type: ignore[assignment]
    sys.exit(main())
