"""What the loop has told the record of alarms, and what stands: the same, or 4 is broken."""

from dataclasses import dataclass, field

from daemon.record.entries import AlarmChanged, AlarmRaised, CloseUpTaken, Part

OVER = frozenset({"cleared", "daemon ended"})


@dataclass
class Life:
    """An alarm as the loop has told the record of it."""

    cause: str
    parts: list = field(default_factory=list)
    is_over: bool = False


class AlarmLedger:
    """One process's alarms. `broken` is told of an invariant's number, and what was seen."""

    def __init__(self, broken):
        self._broken = broken
        self._alarms = {}
        self._standing = None

    def entry(self, entry):
        """The loop hands this to the record."""
        if isinstance(entry, AlarmRaised):
            same = [a for a in self._alarms.values() if a.cause == entry.cause and not a.is_over]
            if entry.number in self._alarms or same:
                self._broken(4, f"alarm {entry.number}, {entry.cause}, is there twice")
            self._alarms[entry.number] = Life(entry.cause)
        elif isinstance(entry, AlarmChanged):
            alarm = self._alarms.get(entry.number)
            if alarm is None or alarm.is_over:
                self._broken(4, f"alarm {entry.number} {entry.what}, and is no alarm")
            elif entry.what in OVER:
                alarm.is_over = True
        elif isinstance(entry, CloseUpTaken):
            alarm = self._alarms.get(entry.number)
            if alarm is None or entry.part in alarm.parts:
                self._broken(4, f"close-up {entry.part.value} of alarm {entry.number}")
            else:
                alarm.parts.append(entry.part)

    def see(self, alarms):
        """What stands after a cycle is what the record has, a cause once."""
        if alarms.standing is self._standing:
            return
        self._standing = alarms.standing
        stands = {alarm.number: alarm.cause for alarm in alarms.standing}
        told = {number: a.cause for number, a in self._alarms.items() if not a.is_over}
        if stands != told or len(set(stands.values())) != len(stands):
            self._broken(4, f"standing {stands}, in the record {told}")

    def see_close_ups(self, complete):
        """Each alarm has its close-up: the part before at once, the one after by the end."""
        for number, alarm in self._alarms.items():
            parts = sorted(part.value for part in alarm.parts)
            whole = sorted(part.value for part in Part)
            if parts != whole and (complete or Part.BEFORE not in alarm.parts):
                self._broken(4, f"alarm {number}, {alarm.cause}: close-up {parts}")
