"""Posts a counted log to the bath of the settings file."""

from pathlib import Path, PurePath

from sqlalchemy.exc import DatabaseError

from daemon.clock import SystemClock, to_ms
from daemon.record import ledger
from daemon.record.errors import RecordBusyError, RecordError
from daemon.record.store import RecordLock, checkpoint, open_writer, refusal
from daemon.record.summary import nah
from daemon.service.commands.recounting import Recounted
from daemon.service.settings.file import read_settings

GREATEST_AH = 1e8
"""A log of more charge than this was read with a wrong unit; the record's n A·h end at 9e9 A·h."""


class NotPostedError(Exception):
    """The charge is not in the record: what stands in the way, in one line."""


def post(counted: Recounted, settings_path: Path, who: str) -> str:
    """Post the net charge and the bounds of its gaps to the bath of the settings; says what it did.

    Raises InputError for settings that cannot be used, and NotPostedError: the same file is in the
    record already, the daemon or another process holds it, or the disk refuses.
    """
    settings = read_settings(settings_path)
    path, bath = settings.record.path, settings.bath.name
    total = counted.total
    greatest_ah = max(map(abs, (total.net_ah, total.gap_least_ah, total.gap_greatest_ah)))
    if greatest_ah > GREATEST_AH:
        raise NotPostedError(
            f"{counted.log.where}: {greatest_ah:.3g} Ah is more than a bath sees, at most "
            f"{GREATEST_AH:.0e} Ah can be posted: is the unit right? nothing was posted"
        )
    entry = ledger.Recount(
        source=PurePath(counted.log.where).name,
        sha256=counted.sha256,
        who=who,
        charge_nah=nah(total.net_ah),
        gap_nah=(nah(total.gap_least_ah), nah(total.gap_greatest_ah)),
    )
    utc_ms = to_ms(SystemClock().utc())
    try:
        with RecordLock(path):
            engine = open_writer(path)
            try:
                with engine.begin() as connection:
                    balance_nah = ledger.post_recount(connection, bath, utc_ms, entry)
                checkpoint(engine)
            finally:
                engine.dispose()
    except RecordBusyError as error:
        raise NotPostedError(
            f"{error}: end the daemon, which holds the record, and post again; nothing was posted"
        ) from error
    except RecordError as error:
        raise NotPostedError(f"{error}; nothing was posted") from error
    except DatabaseError as error:
        raise NotPostedError(f"{path}: {refusal(error)}; nothing was posted") from error
    return f"posted     to {bath}, which now stands at {balance_nah / 1e9:.3f} Ah"
