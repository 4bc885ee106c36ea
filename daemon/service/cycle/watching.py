"""Who watches: the detectors of the cell, the lookout around it, and what they are told besides."""

from collections.abc import Callable, Sequence

from daemon.clock import Clock
from daemon.control.panel import Panel
from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import TELLING_FAILED
from daemon.control.protection.detectors.electrical import electrical_detectors
from daemon.control.protection.detectors.learned_cell import LearnedCell
from daemon.control.protection.surroundings import Surroundings
from daemon.control.protection.watch import Watch
from daemon.control.situation import Limits
from daemon.service.cycle.lookout import Lookout, Waiting, in_the_bath
from daemon.service.devices.pins import Pins
from daemon.service.settings.file import Settings
from daemon.service.settings.thresholds import Chosen
from daemon.service.telling.teller import Teller


def make_watch(limits: Limits, chosen: Chosen) -> Watch:
    """All detectors, for a counting meter on which a current below `limits.gone_a` is none."""
    cell = LearnedCell(chosen.cell.of_meter(limits.gone_a))
    return Watch((*electrical_detectors(chosen.plain.of_meter(limits.gone_a)), cell))


def make_lookout(
    settings: Settings,
    limits: Limits,
    panel: Panel,
    writer: Waiting,
    clock: Clock,
    others: Sequence[Callable[[], Sign | None]],
) -> Lookout:
    """What is seen around the cell; `others` find causes of their own."""
    thermometers = in_the_bath([table.name for table in settings.thermometer])
    thresholds = settings.chosen_thresholds().plain.of_meter(limits.gone_a)
    surroundings = Surroundings(thermometers, thresholds, clock.monotonic_s())
    return Lookout(surroundings, panel, writer, settings.record.path.parent, others)


def not_told(teller: Teller | None, pins: Pins) -> Sign | None:
    """Whether there is somebody or something that alarms do not reach."""
    failing = None if teller is None else teller.failing
    why = "; ".join(each for each in (failing, pins.signal_fault) if each is not None)
    return Sign(TELLING_FAILED, why) if why else None
