"""A night at the tank on a virtual clock, and a receiver of messages on a real socket."""

import socket
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest

from daemon.control.protection import alarms as life
from daemon.control.protection.alarms import NO_ALARMS, Sign
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.states import State
from daemon.service.telling.recipients import Pace, Recipient, Rules
from daemon.service.telling.tank import Current, Tank
from daemon.service.telling.teller import Teller
from tests.receiver import Receiver

BERLIN = ZoneInfo("Europe/Berlin")
START_S = 1000.0
PHONE = (Recipient("phone"),)


class NightClock:
    """Stands still until it is moved; both clocks move together."""

    rate = 1.0

    def __init__(self, utc):
        self.now_s = START_S
        self._utc = utc

    def monotonic_s(self):
        return self.now_s

    def utc(self):
        return self._utc + timedelta(seconds=self.now_s - START_S)


class Night:
    """Alarms that live as they do in the loop, and a teller that is turned by hand.

    `got` is what each recipient has received: time on the wall, and the message. `refuses` are
    reasons by recipient; as long as one stands, nothing gets through there.
    """

    def __init__(
        self, recipients=PHONE, rules=None, pace=None, start="2026-11-25 20:00",
        table=DEFAULT_TABLE,
    ):  # fmt: skip
        local = datetime.fromisoformat(start).replace(tzinfo=BERLIN)
        self.clock = NightClock(local.astimezone(UTC))
        self.got = {recipient.name: [] for recipient in recipients}
        self.table = table
        self.tries = {recipient.name: 0 for recipient in recipients}
        self.refuses = {}
        self.alarms = NO_ALARMS
        self.tank = Tank(State.RUNNING, Current.ON, 7, "lamp foot", 18.24, 25.0)
        self.changes = []
        self._signs = {}
        self.teller = Teller(
            [(recipient, self._sender(recipient.name)) for recipient in recipients],
            rules or Rules(),
            pace or Pace(),
            table,
            "Tank 1",
            self.clock,
            zone=BERLIN,
            real_s=self.clock.monotonic_s,
            threaded=False,
        )
        self.look()

    def _sender(self, name):
        def send(letter):
            self.tries[name] += 1
            if name in self.refuses:
                return self.refuses[name]
            local = self.clock.utc().astimezone(BERLIN)
            self.got[name].append(SimpleNamespace(at=f"{local:%H:%M}", letter=letter))
            return None

        return send

    def titles(self, name="phone"):
        return [each.letter.title for each in self.got[name]]

    def times(self, name="phone"):
        return [each.at for each in self.got[name]]

    def comes(self, cause, seen="9.2 A at 0.1 V"):
        self._signs[cause] = Sign(cause, seen)
        self.look()

    def goes(self, cause):
        del self._signs[cause]
        self.look()

    def acknowledged(self, who="ina", number=None):
        self.alarms = life.acknowledged(self.alarms, number, who, self.changes)
        self.look()

    def shelved(self, number, for_s, who="ina"):
        until_s = self.clock.now_s + for_s
        self.alarms = life.shelved(self.alarms, number, who, until_s, self.changes)
        self.look()

    def reset(self, who="ina"):
        self.alarms = life.reset(self.alarms, who, self.changes)
        self.look()

    def stops(self, cause, stop):
        self.alarms = life.having_stopped(self.alarms, cause, stop, self.changes)
        self.look()

    def is_now(self, state, current, **more):
        before = self.tank
        facts = {"run_id": before.run_id, "title": before.title, "target_um": before.target_um,
                 "thickness_um": before.thickness_um} | more  # fmt: skip
        self.tank = Tank(state, current, **facts)
        self.look()

    def look(self):
        """One cycle of the loop, and a look of the teller with all that follows from it."""
        signs = list(self._signs.values())
        self.alarms = life.advanced(self.alarms, signs, self.table, self.clock.now_s, self.changes)
        self.teller.hear(self.changes, self.alarms.standing, self.tank)
        self.changes = []
        self.turn()

    def turn(self):
        """A look of the teller with all that follows from it."""
        self.teller.turn()
        self.teller.work()
        self.teller.turn()

    def passes(self, *, h=0, min=0, s=0, step_s=10.0):  # noqa: A002
        until_s = self.clock.now_s + 3600 * h + 60 * min + s
        while self.clock.now_s < until_s:
            self.clock.now_s = sooner(self.clock.now_s + step_s, until_s)
            self.look()


def sooner(one, other):
    return one if one < other else other


@pytest.fixture
def receiver():
    with Receiver() as receiver:
        yield receiver


@pytest.fixture
def closed_port():
    """A port of this machine on which nobody listens."""
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        yield bound.getsockname()[1]


@pytest.fixture
def new_night():
    """Make a night of one's own, by keywords of `Night`."""
    return Night


@pytest.fixture
def night():
    """A night with one recipient, told of everything."""
    return Night()
