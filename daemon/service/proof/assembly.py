"""The prover of a daemon, made from its settings."""

from collections.abc import Callable, Mapping

from daemon.clock import Clock
from daemon.control.dosing_pump import HandSeen
from daemon.control.proof.steps import Cabinet, PumpThere
from daemon.control.situation import Limits
from daemon.control.states import Act
from daemon.record.entries import ProofStep
from daemon.service.cycle.loop import Loop
from daemon.service.proof.due import Due
from daemon.service.proof.prover import Prover, Tank
from daemon.service.pumps.doser import Doser
from daemon.service.settings.file import Settings
from daemon.service.telling.teller import trials


def make_prover(
    settings: Settings,
    limits: Limits,
    loop: Loop,
    doser: Doser,
    due: Callable[[], Due],
    keep: Callable[[str, tuple[ProofStep, ...]], int],
    clock: Clock,
) -> Prover:
    """What leads a walk through everything that the settings say is there."""

    def senders(who: str) -> Mapping[str, Callable[[], str | None]]:
        found = trials(settings.tell, settings.telling, settings.bath.name, who, "settings")
        return dict(found)

    def pumps() -> Mapping[str, HandSeen]:
        return {each.rules.additive: HandSeen(each.by_hand, each.ran) for each in doser.seen}

    tank = Tank(lambda: loop.situation, lambda: loop.refusal(Act.START), due, keep, pumps)
    return Prover(tank, cabinet_of(settings, limits), senders, clock)


def cabinet_of(settings: Settings, limits: Limits) -> Cabinet:
    """What the settings say is there to be proved."""
    return Cabinet(
        tuple(loop.name for loop in settings.interlock),
        limits,
        beacon=settings.beacon is not None,
        siren=settings.siren is not None,
        button=settings.acknowledge_button is not None,
        pumps=_pumps_of(settings),
        addresses=tuple(table.name for table in settings.tell),
    )


def _pumps_of(settings: Settings) -> tuple[PumpThere, ...]:
    bath = settings.bath.description()
    return tuple(
        PumpThere(each.additive, each.dose_ml(additive), each.flow, each.level)
        for each in settings.pump
        if (additive := bath.additive(each.additive)) is not None
    )
