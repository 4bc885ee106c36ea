"""The plans that are kept, as the page lists them: what each is, whether it would work today."""

from dataclasses import dataclass
from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.plans.kept import KeptPlan, Rehearsed, kept_plan, kept_plans, rehearsals
from daemon.api.sentence import duration
from daemon.api.socket.client import DaemonUnreachableError
from daemon.record.errors import RecordError
from daemon.record.used_plans import UsedPlan
from web.record import Runs
from web.tank import Tank
from web.times import stamp
from web.typography import capital

CHECKED = 60
"""Plans of a list that the daemon is asked about; each costs it some ms."""


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
            more = "" if len(read.problems) == 1 else f", and {len(read.problems) - 1} more"
            return Listed(
                kept.name, kept.path.name, kept.name, "", works=False,
                verdict=f"Cannot be read: {read.problems[0]}{more}.",
                used="", rehearsed=_rehearsed(kept, told), readable=False,
            )  # fmt: skip
        works, verdict = self._verdict(kept.text) if asks else (None, "Not checked here.")
        count = len(read.stage)
        of = f"{read.area:g} dm²" if read.area is not None else f"{read.copies or 1} × {read.part}"
        return Listed(
            kept.name,
            kept.path.name,
            read.title,
            f"{read.target:g} µm on {of}, {count} {'stage' if count == 1 else 'stages'}",
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
            return None, "Not known: the daemon does not answer."
        if found.problems:
            return False, f"Does not work here: {found.problems[0].partition(': ')[2]}."
        if found.course is None:
            return True, "Works here."
        way = found.course
        return True, f"Works here: {duration(way.duration_s)}, {way.charge_ah:.3g} Ah."


def _used(kept: KeptPlan, used: UsedPlan | None) -> str:
    if used is None:
        return "Never started"
    how = "" if used.plan == kept.text else ", as it was then"
    return f"Run {used.run_id}, {stamp(used.started_utc_ms)[:16]}{how}"


def _rehearsed(kept: KeptPlan, told: Rehearsed | None) -> str:
    if told is None:
        return "Never rehearsed"
    how = "would work" if told.works else "would not work"
    then = "" if told.sha256 == kept.sha256 else ", as it was then"
    return capital(f"rehearsed {stamp(told.utc_ms)[:16]}: {how}{then}")
