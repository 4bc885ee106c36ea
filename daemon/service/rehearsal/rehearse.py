"""The whole rehearsal: the plan on the likeliest tank, then other tanks and mishaps all at once."""

from functools import partial

from daemon.api.rehearsal.mishaps import Mishap, usual_mishaps
from daemon.api.socket.rehearsal import MishapTold, Rehearsal
from daemon.control.feasibility import problems
from daemon.service.rehearsal.assembly import Asked, Stage, impossible, prepared, reported
from daemon.service.rehearsal.mishaps import told
from daemon.service.rehearsal.side_by_side import AllOf, side_by_side
from daemon.service.rehearsal.spread import Spread, drawn, walk_on
from daemon.service.rehearsal.walked import Walked
from daemon.service.settings.file import Settings


def rehearse(
    settings: Settings, asked: Asked, mishaps: tuple[Mishap, ...] | None = None
) -> Rehearsal:
    """Rehearse a plan with these mishaps; None: with those that are usual.

    Works in several processes where there are cores for them. Raises InputError: plan or mishap
    cannot be used; RecordError, DescriptionError, and sqlalchemy.exc.DatabaseError.
    """
    return rehearsed(settings, prepared(settings, asked), mishaps, side_by_side)


def rehearsed(
    settings: Settings, stage: Stage, mishaps: tuple[Mishap, ...] | None, all_of: AllOf
) -> Rehearsal:
    """Rehearse what is ready for it. Raises InputError: a mishap is to come after the run's end."""
    plan, known, carried = stage.plan, stage.known, stage.carried
    found = problems(plan, stage.rating, known.meter.doubt, carried)
    if found:
        return impossible(settings, stage, tuple(found))
    likeliest, *others = drawn(
        plan, stage.copies, known.facts, known.learned, stage.supply, stage.read_c
    )
    on = partial(walk_on, plan, stage.rules, carried)
    nominal = on(likeliest)
    # The mishaps wait for its end: they are to come before it. They take longest.
    end_s = nominal.duration_s
    wanted = usual_mishaps(end_s) if mishaps is None else mishaps
    done = all_of(
        [partial(told, settings, stage, likeliest, end_s, each) for each in wanted]
        + [partial(on, each) for each in others]
    )
    walks = tuple(each for each in done if isinstance(each, Walked))
    report = reported(settings, stage, Spread(nominal, walks))
    said = tuple(each for each in done if isinstance(each, MishapTold))
    return report.model_copy(update={"mishaps": said})
