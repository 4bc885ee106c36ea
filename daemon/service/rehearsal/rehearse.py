"""The whole rehearsal: the plan, and its mishaps."""

from daemon.api.rehearsal.mishaps import Mishap, usual_mishaps
from daemon.api.socket.rehearsal import Rehearsal
from daemon.service.rehearsal.assembly import Asked, prepared, rehearsed
from daemon.service.rehearsal.mishaps import told
from daemon.service.settings.file import Settings


def rehearse(
    settings: Settings, asked: Asked, mishaps: tuple[Mishap, ...] | None = None
) -> Rehearsal:
    """Rehearse a plan with these mishaps; None: with those that are usual.

    Raises InputError: plan or mishap cannot be used; RecordError, DescriptionError, and
    sqlalchemy.exc.DatabaseError.
    """
    stage = prepared(settings, asked)
    report, spread = rehearsed(settings, stage)
    if spread is None:
        return report
    end_s = spread.nominal.duration_s
    wanted = usual_mishaps(end_s) if mishaps is None else mishaps
    found = tuple(told(settings, stage, spread.middle, each, end_s) for each in wanted)
    return report.model_copy(update={"mishaps": found})
