"""The plans that are kept, as the page lists them: what each is, whether it would work today."""

from dataclasses import dataclass
from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.plans.kept import KeptPlan, Rehearsed, kept_plan, kept_plans, rehearsals
from daemon.api.sentence import duration
from daemon.api.socket.client import DaemonUnreachableError
from daemon.record.errors import RecordError
from daemon.record.used_plans import UsedPlan
from web.language import gettext as _
from web.language import marked, ngettext
from web.record import Runs
from web.tank import Tank
from web.times import stamp
from web.units import as_set

CHECKED = 60
"""Plans of a list that the daemon is asked about; each costs it some ms."""

REHEARSED = {
    (True, True): marked("Rehearsed %(at)s: would work"),
    (True, False): marked("Rehearsed %(at)s: would work, as it was then"),
    (False, True): marked("Rehearsed %(at)s: would not work"),
    (False, False): marked("Rehearsed %(at)s: would not work, as it was then"),
}
"""By whether it would work, and whether the file is still what was rehearsed."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A plan in words. works: whether it would work today; None where nobody can say."""

    name: str
    file: str
    title: str
    what: str
    works: bool | None
    verdict: str
    used: str
    rehearsed: str
    readable: bool


class Shelf:
    """The plans in one folder, of one daemon and one record. Every method may raise OSError."""

    def __init__(self, folder: Path, tank: Tank, runs: Runs) -> None:
        self.folder = folder
        self._tank = tank
        self._runs = runs

    def plan(self, name: str) -> KeptPlan | None:
        """The plan of this name; None where there is none."""
        return kept_plan(self.folder, name)

    def listed(self) -> list[Listed]:
        """All that are kept."""
        told, used = rehearsals(self.folder), self._used()
        answers = self._tank.status() is not None
        return [
            self._listed(each, told.get(each.name), used, asks=answers and place < CHECKED)
            for place, each in enumerate(kept_plans(self.folder))
        ]

    def _used(self) -> dict[str, UsedPlan]:
        try:
            return self._runs.used_plans()
        except RecordError:
            return {}

    def _listed(
        self, kept: KeptPlan, told: Rehearsed | None, used: dict[str, UsedPlan], *, asks: bool
    ) -> Listed:
        read = kept.read
        if isinstance(read, InputError):
            return Listed(
                kept.name, kept.path.name, kept.name, "", works=False,
                verdict=_unreadable(read),
                used="", rehearsed=_rehearsed(kept, told), readable=False,
            )  # fmt: skip
        works, verdict = self._verdict(kept.text) if asks else (None, _("Not checked here."))
        of = f"{read.copies or 1} × {read.part}"
        if read.area is not None:
            of = as_set(read.area, "dm²")
        return Listed(
            kept.name,
            kept.path.name,
            read.title,
            ngettext(
                "%(target)s on %(area)s, %(num)d stage",
                "%(target)s on %(area)s, %(num)d stages",
                len(read.stage),
                target=as_set(read.target, "µm"),
                area=of,
            ),
            works,
            verdict,
            _used(kept, used.get(read.title)),
            _rehearsed(kept, told),
            readable=True,
        )

    def _verdict(self, plan: str) -> tuple[bool | None, str]:
        try:
            found = self._tank.check(plan)
        except DaemonUnreachableError:
            return None, _("Not known: the daemon does not answer.")
        if found.problems:
            problem = found.problems[0].partition(": ")[2]
            return False, _("Does not work here: %(problem)s.", problem=problem)
        if found.course is None:
            return True, _("Works here.")
        way = found.course
        return True, _(
            "Works here: %(time)s, %(charge)s Ah.",
            time=duration(way.duration_s),
            charge=f"{way.charge_ah:.3g}",
        )


def _unreadable(error: InputError) -> str:
    problem, more = error.problems[0], len(error.problems) - 1
    if not more:
        return _("Cannot be read: %(problem)s.", problem=problem)
    return ngettext(
        "Cannot be read: %(problem)s, and %(num)d more.",
        "Cannot be read: %(problem)s, and %(num)d more.",
        more,
        problem=problem,
    )


def _used(kept: KeptPlan, used: UsedPlan | None) -> str:
    if used is None:
        return _("Never started")
    run, at = used.run_id, stamp(used.started_utc_ms)[:16]
    if used.plan == kept.text:
        return _("Run %(run)s, %(at)s", run=run, at=at)
    return _("Run %(run)s, %(at)s, as it was then", run=run, at=at)


def _rehearsed(kept: KeptPlan, told: Rehearsed | None) -> str:
    if told is None:
        return _("Never rehearsed")
    said = REHEARSED[told.works, told.sha256 == kept.sha256]
    return _(said, at=stamp(told.utc_ms)[:16])
