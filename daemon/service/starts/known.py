"""What plans may leave to the daemon: the area of a kept part, and a learned efficiency."""

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

from sqlalchemy import Engine

from daemon.api.plans.known import Known, Sure
from daemon.api.rounding import rounded
from daemon.bath.weighing import Learned
from daemon.bath.weighings import learned_of
from daemon.chemistry.metals import Metal
from daemon.record import bath_entries, parts
from daemon.record.store import open_reader

Tell = Callable[[str], None]

KnownTo = Callable[[Tell], Known]
"""What is known; whoever asks says how they are told what was taken."""


def known_by(path: Path, bath: str, stack: ExitStack) -> KnownTo:
    """What the record at `path` knows by now, of parts and of this bath, for any thread.

    `stack` closes it.
    """
    engine = open_reader(path)
    stack.callback(engine.dispose)

    def known(tell: Tell) -> Known:
        return Known(
            lambda name, copies: _area(engine, name, copies, tell),
            lambda metal: _efficiency(_learned(engine, bath, metal), tell),
            lambda metal, value: _compare(_learned(engine, bath, metal), value, tell),
        )

    return known


def _area(engine: Engine, name: str, copies: int, tell: Tell) -> Sure:
    with engine.connect() as connection:
        kept = parts.newest(connection, name)
    area_dm2 = copies * kept.made.area_dm2
    which = f"{name!r}" if copies == 1 else f"{copies} of {name!r}"
    tell(f"area {area_dm2:.4g} dm² by {which}, kept as part {kept.id}")
    return Sure(area_dm2, min(1.0, kept.made.u95_dm2 / kept.made.area_dm2))


def _learned(engine: Engine, bath: str, metal: Metal) -> Learned | None:
    with engine.connect() as connection:
        return learned_of(bath_entries.all_of(connection, bath), metal.name)


def _efficiency(found: Learned | None, tell: Tell) -> Sure | None:
    if found is None:
        return None
    tell(f"efficiency {_shown(found)}, since the plan gives none")
    return Sure(found.value, min(1.0, found.half95 / found.value))


def _compare(found: Learned | None, given: float, tell: Tell) -> None:
    """Tell of an efficiency of the plan's own that weighings speak against."""
    if found is not None and abs(given - found.value) > found.half95:
        tell(f"efficiency {100 * given:.4g} % by the plan, but {_shown(found)}")


def _shown(found: Learned) -> str:
    value, half = rounded(100 * found.value, 100 * found.half95, 2)
    return f"{value} ± {half} % (95 %) by {found.number} weighings"
