"""The cause and effect table as page and command line show it."""

from typing import Literal

from daemon.api.messages import Message, PriorityName
from daemon.control.protection.causes import cause_named
from daemon.control.protection.effects import Table

StopName = Literal["nothing", "hold", "stop", "abort"]


class EffectsRow(Message):
    """What one cause brings about, and what to check first.

    The stop comes when the cause has been there for `after_s`, s; beacon, siren and message
    (`tell`) come at once.
    """

    cause: str
    priority: PriorityName
    stop: StopName
    after_s: float
    beacon: bool
    siren: bool
    tell: bool
    check: str

    @property
    def after(self) -> str:
        """When the stop comes, in words; nothing where none comes."""
        if self.stop == "nothing":
            return ""
        return "at once" if self.after_s == 0 else f"{self.after_s:g} s"


def rows(table: Table) -> list[EffectsRow]:
    """A row for each cause, in the table's order."""
    found = []
    for name, row in table.rows.items():
        cause = cause_named(name)
        found.append(
            EffectsRow(
                cause=name,
                priority=cause.priority.value,
                stop=row.stop.value,
                after_s=row.after_s,
                beacon=row.beacon,
                siren=row.siren,
                tell=row.tell,
                check=cause.check,
            )
        )
    return found
