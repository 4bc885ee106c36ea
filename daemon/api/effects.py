"""The cause and effect table as page and command line show it, and what it brought about."""

from daemon.api.socket.effects import EffectsRow
from daemon.control.protection.causes import STILL_ON, cause_named
from daemon.control.protection.effects import Stop, Table

_DID = {
    Stop.NOTHING: "Nothing was switched.",
    Stop.HOLD: "The current was brought down and the output switched off; the run can be resumed.",
    Stop.STOP: "The current was brought down and the output switched off; the run is over.",
    Stop.ABORT: "The output was switched off at once; the run is over.",
}
_TOLD_AGAIN = "The supply was told again to switch its output off, and the contactor to open."


def done(cause: str, stop: Stop) -> str:
    """What tankhand did about an alarm of this cause that has brought about this stop, in words."""
    return _TOLD_AGAIN if cause in STILL_ON else _DID[stop]


def rows(table: Table) -> tuple[EffectsRow, ...]:
    """A row for each cause, in the table's order."""
    found = []
    for name, row in table.rows.items():
        cause = cause_named(name)
        found.append(
            EffectsRow(
                cause=name,
                priority=table.priority(name).value,
                stop=row.stop.value,
                after_s=row.after_s,
                beacon=row.beacon,
                siren=row.siren,
                tell=row.tell,
                check=cause.check,
            )
        )
    return tuple(found)
