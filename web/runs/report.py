"""A run's report, to be read in the morning and to be printed: what came of it, and how."""

from dataclasses import dataclass

from flask import Flask, abort, render_template
from flask.typing import ResponseReturnValue

from daemon.api.report import Row
from daemon.api.runs import cost_words, readings_parquet
from daemon.api.runs.causes import Cause, of_budget
from daemon.api.runs.report import MOST_ALARMS, MOST_CLOSE_UPS, MOST_EVENTS, RunReport
from daemon.bath import cost
from daemon.record.errors import NoSuchRunError, RecordError
from web.alarms.past import Past, past
from web.drawings.close_up import Drawing, drawn, kinds
from web.drawings.run_chart import of_run
from web.language import gettext as _
from web.listing import unreadable
from web.record import Runs, record_number
from web.runs import words
from web.runs.listed import under_way
from web.tank import Tank
from web.text import Trouble
from web.times import zone_name
from web.trouble import show


@dataclass(frozen=True, slots=True)
class ShownAlarm:
    """An alarm in words; its close-up drawn, None where there is none, and how its lines look."""

    alarm: Past
    drawing: Drawing | None
    meters: dict[str, str]
    damaged: bool


class RunReportPage:
    """The view, over one daemon and one record."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/runs/<number>", "run", self.page)

    def page(self, number: str) -> ResponseReturnValue:
        """Show all that the record tells of one run."""
        run_id = record_number(number)
        if run_id is None:
            abort(404)
        try:
            found = self._runs.report(run_id)
        except NoSuchRunError:
            return show(no_such_run(run_id), 404)
        except RecordError as error:
            return unreadable(error)
        plates = under_way(self._tank) == run_id
        return render_template(
            "run.html",
            run=found.run,
            word=words.word(found, under_way=plates),
            figures=words.figures(found, zone_name(), under_way=plates),
            chart=of_run(found),
            stages=words.stages(found),
            foretold=found.rehearsal is not None,
            planned=found.plan is not None and found.run.goes_on_from is None,
            alarms=_alarms(found),
            more_alarms=MOST_ALARMS if found.more_alarms else 0,
            most_close_ups=MOST_CLOSE_UPS,
            events=words.events(found),
            more_events=MOST_EVENTS if found.more_events else 0,
            additions=words.additions(found),
            weighings=words.weighings(found),
            cost=_cost(found),
            causes=_causes(found),
            parquet=readings_parquet.is_there(),
            extra=readings_parquet.EXTRA,
        )


def no_such_run(run_id: int) -> Trouble:
    """What is shown for the number of a run that is not there."""
    return Trouble(
        _("There is no run %(number)d in the record.", number=run_id),
        _("One that was started just now comes into it within a second or two: look again."),
    )


def _alarms(found: RunReport) -> list[ShownAlarm]:
    shown = []
    for each in found.alarms:
        close_up = found.close_ups.get(each.number)
        shown.append(
            ShownAlarm(
                past(each),
                None if close_up is None else drawn(close_up),
                {} if close_up is None else kinds(close_up.traces),
                each.number in found.damaged,
            )
        )
    return shown


def _cost(found: RunReport) -> tuple[Row, ...]:
    run, cell = found.run, found.energy
    mass = found.deposit.mass_g
    used = cost.cost(
        max(0.0, cost.deposited_g(run) if mass is None else mass.value),
        max(0.0, run.charge_ah),
        cell,
        found.description,
    )
    rows = tuple(cost_words.rows(run, cell, used, 1))
    told = Row(
        _("cell"),
        _("%(energy)s by means of the current and the voltage", energy=words.energy(cell)),
    )
    return (*rows[1:], told)


def _causes(found: RunReport) -> tuple[Cause, ...]:
    thickness = found.deposit.thickness_um
    return () if thickness is None or not found.deposit.sure else of_budget(thickness)
