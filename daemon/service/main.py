"""The loop's process: devices, loop, record and control socket, put together and taken apart.

Started by the guard. It says "ready" over the beat pipe once it samples; before that it ends with
one clear error on stderr and a code that is not 0.
"""

import argparse
import gc
import signal
import sys
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue
from types import FrameType

from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.record.errors import RecordError
from daemon.record.store import refusal
from daemon.service.assembly import (
    Answering,
    Books,
    Site,
    Wired,
    make_answering,
    make_heart,
    open_books,
    wire,
)
from daemon.service.cycle.runner import REST_S, Mail, Quit, Runner
from daemon.service.devices.pins import CYCLE_S
from daemon.service.realtime import become_prompt
from daemon.service.settings.file import read_settings
from daemon.service.socket.control_socket import SocketUnusableError
from daemon.service.starts.resuming import Resumer
from daemon.service.supervision.beat import BeatSender, Ready, watch_lifeline
from daemon.units import parse
from drivers.errors import DriverError

BAD_INPUT = 2
"""Exit code when what people wrote cannot be used."""

FAILED = 1
"""Exit code when the record, the port or the supply cannot be used."""


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
        settings.page.check_operator(options.settings, settings.record.path)
        with ExitStack() as stack:
            beat = BeatSender(options.beat, options.answers)
            clock, mailbox = settings.clock(), SimpleQueue[Mail]()
            site = Site(settings, options.settings, clock, mailbox, stack)
            runner = _assemble(site, beat, options.lifeline)
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


def _assemble(site: Site, beat: BeatSender, lifeline: int | None) -> Runner:
    """Everything that runs, in the order of safety; the site's stack takes it apart again."""
    settings = site.settings
    wired = wire(site)
    books = open_books(site, wired)
    heart = make_heart(site, wired, books)
    answering = make_answering(site, wired, books, heart, beat.prove)
    # The first quantity that is read loads pint, which takes a good part of a second: now, not when
    # somebody hands in a plan while the loop has to be on time.
    parse("1 A", "A")
    _quit_on(site.mailbox, lifeline)
    _start(site, wired, books, answering)
    beat.ready(
        Ready(
            beat_limit_s=settings.guard.beat_limit,
            socket=str(settings.daemon.socket),
            record=str(settings.record.path),
            listen=settings.page.listen if settings.page.on else None,
            supply=wired.supply,
            page=settings.page.options(),
        )
    )

    def beat_if_well() -> None:
        if wired.worker.well:
            beat.beat()

    # Whatever ends the loop, its contactor opens before anything else is taken apart.
    site.stack.callback(wired.pins.close)
    return Runner(
        heart.loop,
        site.clock,
        settings.loop.period,
        site.mailbox,
        beat_if_well,
        books.writer.next_run_id(),
        CYCLE_S if settings.has_pins else REST_S,
    )


def _start(site: Site, wired: Wired, books: Books, answering: Answering) -> None:
    """Have the devices read, then everybody answered, and a run gone on with where that is set."""
    wired.worker.start()
    for other in wired.others.values():
        other.start()
    answering.server.start()
    site.stack.callback(answering.server.stop)
    site.stack.callback(answering.prover.stop)
    run_id = site.settings.after_interruption.run_to_go_on(books.interrupted)
    if run_id is not None:
        resumer = Resumer(run_id, answering.server.answer)
        resumer.start()
        site.stack.callback(resumer.stop)


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
