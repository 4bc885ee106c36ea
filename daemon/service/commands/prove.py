"""`tankhand prove`: the proof test of the ways to stop, at a terminal."""

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import BadInputError, RefusedError, settings_option, who

if TYPE_CHECKING:
    from daemon.service.proving import Cabinet
    from daemon.service.settings import Settings

CAUTION = """\
Each way to stop is used once, with a small current. Hang a scrap of copper in the part's place; the
charge is posted to the bath. Keep the emergency stop within reach. What is proved here is what the
meter sees today. Software is no safety function: prove the hard-wired chain with the Pi unplugged
too, as hardware/contactor.md says."""


class _AtTerminal:
    def say(self, text: str) -> None:
        click.echo(text)

    def confirms(self, question: str) -> bool:
        return click.confirm(question)


@click.command()
@click.option("--current", default="0.2 A", show_default=True, help="What flows meanwhile.")
@click.option("--ceiling", default="3 V", show_default=True, help="The voltage ceiling meanwhile.")
@settings_option
def prove(current: str, ceiling: str, settings: Path) -> None:
    """Prove each way to stop, with the meter as witness; the result is kept with its date.

    The daemon has to run, at rest. Interlocks are opened by you, one after the other, when you are
    asked to. Exit code 1 if one of them failed.
    """
    from daemon.api.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
    from daemon.api.errors import InputError
    from daemon.api.messages import ProofRequest
    from daemon.api.plan_file import read_plan
    from daemon.service.proving import ProofEndedError, Tank, Walk, plan_of
    from daemon.service.settings import read_settings
    from daemon.units import UnitError, parse

    try:
        read = read_settings(settings)
        plan = plan_of(parse(current, "A"), ceiling)
        read_plan(plan, "--current and --ceiling")
        click.echo(CAUTION)
        click.confirm("Begin?", abort=True)
        client = Client(read.daemon.socket, timeout_s=ACT_PATIENCE_S)
        tank = Tank(client.ask, time.sleep, who(), WHERE)
        steps = Walk(tank, _AtTerminal(), _cabinet(read, settings), plan).run()
        told = tuple((step.name, step.expected, step.seen, step.passed) for step in steps)
        answer = client.ask(ProofRequest(who=who(), where=WHERE, steps=told))
    except (InputError, UnitError) as error:
        raise BadInputError(str(error)) from error
    except (DaemonUnreachableError, ProofEndedError) as error:
        raise RefusedError(f"the proof test ended early, and nothing is kept: {error}") from error
    if not answer.ok:
        raise RefusedError(f"the result is not kept: {answer.error}")
    failed = [step.name for step in steps if not step.passed]
    if failed:
        raise RefusedError(f"kept as failed: {', '.join(failed)}")
    click.echo(f"kept as passed: {len(steps)} steps")


def _cabinet(settings: "Settings", path: Path) -> "Cabinet":
    """What the settings say is there to be proved."""
    from daemon.control.protection.effects import Stop
    from daemon.service.devices.assembly import make_meters, make_supply
    from daemon.service.proving import Cabinet
    from daemon.service.telling.teller import trials

    clock = settings.clock()
    _, rating = make_supply(settings, clock)
    meters = make_meters(settings, clock, rating)
    limits = meters.limits(settings, rating)
    return Cabinet(
        loops=tuple(
            (each.name, each.stop == Stop.ABORT.value)
            for each in settings.interlock
            if each.stop != Stop.NOTHING.value
        ),
        gone_a=limits.gone_a,
        off_s=limits.off_s + limits.down_s,
        drop_out_s=None if settings.contactor is None else settings.contactor.drop_out,
        beacon=settings.beacon is not None,
        siren=settings.siren is not None,
        button=settings.acknowledge_button is not None,
        messages=tuple(
            trials(settings.tell, settings.telling, settings.bath.name, who(), str(path))
        ),
    )
