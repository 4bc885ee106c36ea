"""The whole rehearsal: the plan, and its mishaps."""

from functools import partial

from daemon.api.rehearsal.mishaps import Mishap, usual_mishaps
from daemon.api.socket.rehearsal import Rehearsal
from daemon.service.rehearsal.assembly import Asked, prepared, rehearsed
from daemon.service.rehearsal.mishaps import told
from daemon.service.rehearsal.side_by_side import side_by_side
from daemon.service.settings.file import Settings


def rehearse(
    settings: Settings, asked: Asked, mishaps: tuple[Mishap, ...] | None = None
) -> Rehearsal:
    """Rehearse a plan with these mishaps; None: with those that are usual.

    Works in several processes where there are cores for them. Raises InputError: plan or mishap
    cannot be used; RecordError, DescriptionError, and sqlalchemy.exc.DatabaseError.
    """
    stage = prepared(settings, asked)
    report, spread = rehearsed(settings, stage, side_by_side)
    if spread is None:
        return report
    end_s = spread.nominal.duration_s
    wanted = usual_mishaps(end_s) if mishaps is None else mishaps
    found = side_by_side(partial(told, settings, stage, spread.middle, end_s), wanted)
    return report.model_copy(update={"mishaps": tuple(found)})
