"""The cause and effect table as page and command line show it."""

from daemon.api.messages import EffectsRow
from daemon.control.protection.causes import cause_named
from daemon.control.protection.effects import Table


def rows(table: Table) -> tuple[EffectsRow, ...]:
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
    return tuple(found)
