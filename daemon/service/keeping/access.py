"""What has changed of who may what while no daemon ran: kept in the audit at the next start."""

from dataclasses import replace
from pathlib import Path

from daemon.access.errors import UnreadableError
from daemon.access.untold import Untold, untold_at
from daemon.clock import Clock, to_ms
from daemon.record.entries import Audited
from daemon.record.writer import Writer


def keep_untold(writer: Writer, record: Path, clock: Clock) -> None:
    """Put into the audit of `record` what waits for it, each with the moment at which it was done.

    A file that cannot be used is an entry of the audit itself, and no reason to leave the tank
    alone. A power cut between the two writes has an entry stand twice, and none be lost.
    Raises sqlalchemy.exc.DatabaseError.
    """
    untold = Untold(untold_at(record))
    try:
        waiting = untold.all()
        for each in waiting:
            kept = Audited(each.utc_ms, each.who, each.where, each.what, each.about)
            writer.keep_audit(kept)
        if waiting:
            untold.told(waiting)
    except (UnreadableError, OSError) as error:
        asked = Audited(to_ms(clock.utc()), "tankhand", "start", "read who was let in meanwhile")
        writer.keep_audit(replace(asked, refused=str(error)))
