"""What the API gives to look at: the state, runs, readings, alarms, the bath."""

import math
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TypeVar

from daemon.api.plans.proof import is_proof
from daemon.api.sentence import utc_of
from daemon.api.socket.messages import Status
from daemon.bath import account
from daemon.bath.components import VOLUME, amount_unit
from daemon.clock import to_ms
from daemon.record.alarms import Alarm
from daemon.record.queries import Run
from daemon.record.series import Bands, Series
from web.api.models import (
    AlarmEvent,
    BathSummary,
    Channel,
    KeptAlarm,
    KeptAlarms,
    Page,
    Readings,
    RunList,
    RunReport,
    RunSummary,
    StageOver,
    StandingAlarms,
    Window,
)
from web.api.operations import Asked, Operation
from web.problems import NO_RECORD, SILENT, ProblemError
from web.record import Runs
from web.tank import Tank

Entry = TypeVar("Entry")


class Views:
    """The operations that look, over one daemon and one record; they raise its `RecordError`."""

    def __init__(self, tank: Tank, runs: Runs) -> None:
        self._tank = tank
        self._runs = runs

    def operations(self) -> tuple[Operation, ...]:
        """All of them."""
        return (
            Operation(
                "state", "GET", "/state", "How the tank is now",
                "The daemon's own word, at most a quarter of a second old.",
                Status, self.state, may_fail=(SILENT,),
            ),
            Operation(
                "runs", "GET", "/runs", "The runs", "Newest first, the one under way included.",
                RunList, self.runs, query=Page, may_fail=(NO_RECORD,),
            ),
            Operation(
                "run", "GET", "/runs/{run}", "One run", "With its plan and its stages.",
                RunReport, self.run, may_fail=(NO_RECORD,),
            ),
            Operation(
                "readings", "GET", "/runs/{run}/readings", "The readings of a run",
                "As a chart draws them: in so many points at most, each with least, mean and "
                "greatest.",
                Readings, self.readings, query=Window, may_fail=(NO_RECORD,),
            ),
            Operation(
                "alarms", "GET", "/alarms", "The alarms that are not over",
                "The most urgent first, as in the state.",
                StandingAlarms, self.alarms, may_fail=(SILENT,),
            ),
            Operation(
                "kept_alarms", "GET", "/alarms/history", "The alarms that the record keeps",
                "Newest first.", KeptAlarms, self.kept_alarms, query=Page, may_fail=(NO_RECORD,),
            ),
            Operation(
                "alarm", "GET", "/alarms/{alarm}", "One alarm",
                "As the record keeps it: one that was raised just now comes into it within a "
                "second or two.",
                KeptAlarm, self.alarm, may_fail=(NO_RECORD,),
            ),
            Operation(
                "bath", "GET", "/bath", "The bath's account, summed up", "As it stands now.",
                BathSummary, self.bath, may_fail=(SILENT, NO_RECORD),
            ),
        )  # fmt: skip

    def state(self, _: Asked) -> Status:
        """How the tank is."""
        status = self._tank.status()
        if status is None:
            raise ProblemError(SILENT)
        return status

    def runs(self, asked: Asked) -> RunList:
        """A part of the runs."""
        page = asked.of(Page)
        found = self._runs.page(page.limit + 1, page.before)
        shown, more = _page(found, page.limit)
        return RunList(runs=tuple(map(_summary, shown)), older=shown[-1].id if more else None)

    def run(self, asked: Asked) -> RunReport:
        """One run."""
        found, stages = self._runs.with_stages(asked.number)
        return RunReport(
            **_summary(found).model_dump(),
            plan=found.plan,
            counted_by=found.counted_by.meter,
            stages=tuple(
                StageOver(
                    number=each.number,
                    name=each.name,
                    started_s=each.started_s,
                    ended_s=each.ended_s,
                    charge_ah=each.charge_ah,
                    ended_by=each.ended_by,
                )
                for each in stages
            ),
        )

    def readings(self, asked: Asked) -> Readings:
        """A part of a run's readings."""
        window = asked.of(Window)
        # A length may be lost in the sum; what is then asked for is the moment itself.
        to_s = max(
            window.from_s + (window.for_s or math.inf), math.nextafter(window.from_s, math.inf)
        )
        found = self._runs.series(asked.number, window.points, window.from_s, to_s)
        return _readings(asked.number, found, window.from_s)

    def alarms(self, asked: Asked) -> StandingAlarms:
        """The alarms that are not over."""
        return StandingAlarms(alarms=self.state(asked).alarms)

    def kept_alarms(self, asked: Asked) -> KeptAlarms:
        """A part of the alarms that the record keeps."""
        page = asked.of(Page)
        found = self._runs.alarms(0, page.limit + 1, page.before)
        shown, more = _page(found, page.limit)
        return KeptAlarms(
            alarms=tuple(map(_alarm, shown)), older=shown[-1].number if more else None
        )

    def alarm(self, asked: Asked) -> KeptAlarm:
        """One alarm."""
        return _alarm(self._runs.alarm(asked.number))

    def bath(self, asked: Asked) -> BathSummary:
        """The bath's account."""
        status = self.state(asked)
        book = self._runs.book(status.bath, to_ms(utc_of(status.utc)))
        level = account.level(book.entries, book.description, book.utc_ms)
        balances = account.balances(book.entries, book.utc_ms)
        additives = account.additives_ever(book.entries)
        in_ml = {name for name in balances if amount_unit(name, additives) == "mL"}
        stated = None if level is None else level.stated_utc_ms
        return BathSummary(
            name=status.bath,
            charge_ah=status.bath_charge_ah,
            volume_l=None if level is None else level.volume_l,
            volume_stated_utc=None if stated is None else _utc(stated),
            balances_g={n: v for n, v in balances.items() if n not in in_ml and n != VOLUME},
            balances_ml={name: balances[name] for name in in_ml},
            entries=len(book.entries),
            dues=status.dues,
            unsettled=status.unsettled,
        )


def _page(found: Sequence[Entry], limit: int) -> tuple[Sequence[Entry], bool]:
    """What is shown of one more than was asked for, and whether there is more."""
    return found[:limit], len(found) > limit


def _utc(utc_ms: int) -> datetime:
    return datetime.fromtimestamp(utc_ms / 1000, UTC)


def _summary(run: Run) -> RunSummary:
    return RunSummary(
        number=run.id,
        title=run.title,
        bath=run.bath,
        state=run.state,
        reason=run.reason,
        who=run.who,
        started_utc=_utc(run.started_utc_ms),
        ended_utc=None if run.ended_utc_ms is None else _utc(run.ended_utc_ms),
        elapsed_s=run.elapsed_s,
        running_s=run.running_s,
        metal=run.metal,
        area_dm2=run.area_dm2,
        target_um=run.target_um,
        charge_ah=run.charge_ah,
        gap_least_ah=run.gap_least_ah,
        gap_greatest_ah=run.gap_greatest_ah,
        mass_g=run.mass_g,
        thickness_um=run.thickness_um,
        goes_on_from=run.goes_on_from,
        proof_test=is_proof(run.plan),
    )


def _alarm(alarm: Alarm) -> KeptAlarm:
    raised = alarm.raised
    return KeptAlarm(
        number=alarm.number,
        cause=raised.cause,
        priority=raised.priority,
        run=raised.run_id,
        raised_utc=_utc(raised.utc_ms),
        seen=raised.seen,
        figures=dict(raised.figures),
        over=alarm.is_over,
        events=tuple(
            AlarmEvent(what=each.what, at_utc=_utc(each.utc_ms), who=each.who, text=each.text)
            for each in alarm.changes
        ),
    )


def _readings(run: int, found: Series, from_s: float) -> Readings:
    # After a run's end the series still has its last reading.
    kept = [at for at, last_s in enumerate(found.last_s) if last_s >= from_s]
    first = kept[0] if kept else len(found.last_s)

    def channel(bands: Bands) -> Channel:
        return Channel(
            least=bands.least[first:], mean=bands.mean[first:], greatest=bands.greatest[first:]
        )

    return Readings(
        run=run,
        level=found.level,
        first_s=found.first_s[first:],
        last_s=found.last_s[first:],
        current_a=channel(found.current_a),
        voltage_v=channel(found.voltage_v),
        set_current_a=channel(found.set_current_a),
        temperature_c=channel(found.temperature_c),
        charge_ah=found.charge_ah[first:],
    )
