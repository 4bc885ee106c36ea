"""Who is told, by what rules, and how patiently: plain values, as the settings give them."""

from dataclasses import dataclass
from datetime import datetime, time

from daemon.control.protection.causes import Priority

_RANK = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


def is_as_urgent(priority: Priority, least: Priority) -> bool:
    """Whether a priority is `least` or more urgent."""
    return _RANK[priority] <= _RANK[least]


def urgency(priority: Priority) -> int:
    """A number to sort by, the most urgent first."""
    return _RANK[priority]


@dataclass(frozen=True, slots=True)
class Hours:
    """A time of day, from `start` until just before `end`, by the clock on the wall.

    One that ends before it starts goes over midnight. The wall's clock decides, so that neither the
    hour that summer time leaves out nor the one that comes twice needs a rule of its own.
    """

    start: time
    end: time

    def covers(self, local: datetime) -> bool:
        """Whether this local time is within them."""
        now = local.time()
        if self.start <= self.end:
            return self.start <= now < self.end
        return now >= self.start or now < self.end


@dataclass(frozen=True, slots=True)
class Recipient:
    """A person's address, as far as the rules go.

    least: alarms of this priority and above. after_s: told only of alarms that nobody has
    acknowledged for so long, s; 0 is at once. quiet: when only high priority is told. runs: told of
    the ends of runs, and of the night in the morning.
    """

    name: str
    least: Priority = Priority.LOW
    after_s: float = 0.0
    quiet: Hours | None = None
    runs: bool = True


@dataclass(frozen=True, slots=True)
class Rules:
    """What holds for everybody.

    repeat_s: from one message of an unacknowledged alarm to the next, s. most_an_hour: messages to
    one address in an hour, above which only new alarms of high priority are told. summary: the
    local time of the morning summary, None without one.
    """

    repeat_s: float = 900.0
    most_an_hour: int = 12
    summary: time | None = None


@dataclass(frozen=True, slots=True)
class Pace:
    """How patiently an address is tried, in real seconds whatever the daemon's clock does.

    timeout_s: how long one answer may take. retry_s: the pause after a first failure; it doubles up
    to longest_retry_s. failed_after_s: how long nothing may get through before that is an alarm.
    """

    timeout_s: float = 10.0
    retry_s: float = 15.0
    longest_retry_s: float = 300.0
    failed_after_s: float = 600.0

    def pause_s(self, failures: int) -> float:
        """The pause after this many failures in a row, at least 1."""
        # An exponent without a bound would overflow in a week without a network.
        return min(self.longest_retry_s, self.retry_s * 2.0 ** min(failures - 1, 30))


@dataclass(frozen=True, slots=True)
class Letter:
    """A message as it is sent. `title` is its first line; `priority` None is mere news."""

    title: str
    body: str
    priority: Priority | None = None
