"""Tells people: hears from the loop, without ever holding it up, and keeps the lines busy."""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from functools import partial

from daemon.api.errors import InputError
from daemon.clock import Clock, SystemClock
from daemon.control.protection.alarms import Alarm, Change
from daemon.control.protection.effects import Table
from daemon.service.telling.address import Address, AddressError
from daemon.service.telling.line import Line, Send
from daemon.service.telling.memory import Memory, remembered
from daemon.service.telling.recipients import Pace, Recipient, Rules
from daemon.service.telling.rules import Item, Moment, Told, delivered, due, untold
from daemon.service.telling.tank import Tank
from daemon.service.telling.tell_settings import TellingTable, TellTable
from daemon.service.telling.wording import letter, trial

CAPACITY = 256
"""Pictures that wait at most. They are looked at within a second; when they are not, the oldest
are let go, since the newest says what stands."""

LOOK_S = 1.0
"""Real s from look to look. What is due at a time of day is looked for again and again, and not
waited for, since a wall clock may be set at any moment."""

CLOSE_S = 2.0
"""Real s that the end of the daemon waits for what is being sent."""


@dataclass(frozen=True, slots=True)
class _Heard:
    changes: tuple[Change, ...]
    standing: tuple[Alarm, ...]
    tank: Tank
    at_s: float


@dataclass(slots=True)
class _Desk:
    """One recipient: the line there, what was told, and what the message under way is about."""

    recipient: Recipient
    line: Line
    told: Told | None = None
    items: tuple[Item, ...] = ()


class Teller:
    """Tells `recipients`, each with what sends there, by the rules.

    `name` is what the tank is called in messages; `zone` None is the machine's. `hear` and
    `failing` are for the loop's thread. `threaded=False` leaves it to the caller to call `turn` and
    `work`.
    """

    def __init__(
        self,
        recipients: Sequence[tuple[Recipient, Send]],
        rules: Rules,
        pace: Pace,
        table: Table,
        name: str,
        clock: Clock,
        *,
        zone: tzinfo | None = None,
        real_s: Callable[[], float] = time.monotonic,
        threaded: bool = True,
    ) -> None:
        self._rules = rules
        self._table = table
        self._name = name
        self._clock = clock
        self._zone = zone
        self._real_s = real_s
        self._heard: deque[_Heard] = deque(maxlen=CAPACITY)
        self._last: _Heard | None = None
        self._memory: Memory | None = None
        self._wake = threading.Event()
        self._closing = False
        self._desks = [
            _Desk(
                recipient,
                Line(
                    recipient.name, send, pace,
                    done=self._wake.set, real_s=real_s, threaded=threaded,
                ),
            )
            for recipient, send in recipients
        ]  # fmt: skip
        self._thread = threading.Thread(target=self._run, name="telling", daemon=True)
        if threaded:
            self._thread.start()

    @property
    def failing(self) -> str | None:
        """Which addresses have taken no message for too long, and why; None if none."""
        if self._thread.ident is not None and not self._thread.is_alive() and not self._closing:
            return "the thread that tells people has died"
        found = [why for desk in self._desks if (why := desk.line.failing) is not None]
        return "; ".join(found) or None

    def hear(self, changes: Sequence[Change], standing: tuple[Alarm, ...], tank: Tank) -> None:
        """Hear what has happened to alarms, which ones stand now, and how the tank is.

        Never waits and never raises. Cheap when nothing is new.
        """
        last = self._last
        if not changes and last is not None and standing == last.standing and tank == last.tank:
            return
        self._last = _Heard(tuple(changes), standing, tank, self._clock.monotonic_s())
        self._heard.append(self._last)
        self._wake.set()

    def turn(self) -> None:
        """Look at all that was heard, and hand every line that is free what is due."""
        while self._heard:
            heard = self._heard.popleft()
            before = self._memory or Memory(heard.tank)
            self._memory = remembered(before, heard.changes, heard.standing, heard.tank, heard.at_s)
        if self._memory is None:
            return
        moment = Moment(self._clock.monotonic_s(), self._clock.utc(), self._zone)
        for desk in self._desks:
            self._tell(desk, self._memory, moment)

    def work(self) -> None:
        """Without threads: send what the lines were handed."""
        for desk in self._desks:
            if desk.line.busy:
                desk.line.work()

    def close(self, patience_s: float = CLOSE_S) -> None:
        """Tell what has happened last, and end. Waits for the lines that long at most, real s."""
        self._closing = True
        self._wake.set()
        until_s = self._real_s() + patience_s
        if self._thread.ident is not None:
            self._thread.join(patience_s)
        if not self._thread.is_alive():
            self.turn()
        for desk in self._desks:
            desk.line.close(max(0.0, until_s - self._real_s()))

    def _tell(self, desk: _Desk, memory: Memory, moment: Moment) -> None:
        told = desk.told or untold(self._rules, moment)
        if desk.line.outcome():
            told = delivered(told, desk.items, memory, moment)
        desk.told = told
        if not desk.line.free:
            return
        items = due(
            memory, told, desk.recipient, self._rules, self._table, moment,
            unreachable=desk.line.unreachable,
        )  # fmt: skip
        if items:
            desk.items = items
            desk.line.send(letter(items, memory, moment, self._name))

    def _run(self) -> None:
        while not self._closing:
            self._wake.wait(LOOK_S)
            self._wake.clear()
            self.turn()


def open_addresses(
    tell: Sequence[TellTable], telling: TellingTable, where: str
) -> list[tuple[Recipient, Address]]:
    """The recipients and their addresses; `where` names the settings. Raises InputError."""
    found, problems = [], []
    for number, table in enumerate(tell, start=1):
        try:
            address = Address(table.address.get_secret_value(), telling.timeout)
        except AddressError as error:
            problems.append(f"tell[{number}].address ({table.name}): {error}")
        else:
            found.append((table.recipient(), address))
    if problems:
        raise InputError(where, tuple(problems))
    return found


def trials(
    tell: Sequence[TellTable], telling: TellingTable, name: str, who: str, where: str
) -> list[tuple[str, Callable[[], str | None]]]:
    """Each recipient's name, and what sends a test message there: None when taken, else why not.

    `name` is what the tank is called, `who` asks for the test. Raises InputError.
    """
    clock = SystemClock()
    test = trial(name, who, Moment(clock.monotonic_s(), clock.utc()))
    found = open_addresses(tell, telling, where)
    return [(recipient.name, partial(address.send, test)) for recipient, address in found]


def make_teller(
    tell: Sequence[TellTable],
    telling: TellingTable,
    table: Table,
    name: str,
    clock: Clock,
    where: str = "settings",
) -> Teller | None:
    """The teller of these settings, at work; None where nobody is to be told.

    Raises InputError for an address that nothing can be sent to.
    """
    if not tell:
        return None
    recipients = [(who, address.send) for who, address in open_addresses(tell, telling, where)]
    return Teller(recipients, telling.rules(), telling.pace(), table, name, clock)
