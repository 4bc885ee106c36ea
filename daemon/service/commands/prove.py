"""`tankhand prove`: the proof test of the ways to stop, followed at a terminal."""

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from daemon.service.commands.asking import WHERE
from daemon.service.commands.command import BadInputError, RefusedError, settings_option, who

if TYPE_CHECKING:
    from daemon.api.socket.client import Client
    from daemon.api.socket.messages import Answer, Request
    from daemon.api.socket.proof import ProofWalkStatus

CAUTION = """\
Each way to stop is used once, with a small current. Hang a scrap of copper in the part's place; the
charge is posted to the bath. Nobody's hands in the tank. Keep the emergency stop within reach. A
dosing pump runs into a measuring glass, never over the bath: gloves and eye protection. What is
proved here is what the meter sees today, and you. Software is no safety function: prove the
hard-wired chain with the Pi unplugged too, as hardware/contactor.md says."""

EARLY = "the proof test ended early, and nothing is kept"

LOOK_S = 0.2
"""Real s from look to look at how far the daemon is."""


@click.command()
@click.option("--current", default="0.2 A", show_default=True, help="What flows meanwhile.")
@click.option("--ceiling", default="3 V", show_default=True, help="The voltage ceiling meanwhile.")
@settings_option
def prove(current: str, ceiling: str, settings: Path) -> None:
    """Prove each way to stop, with the meter as witness; the result is kept with its date.

    The daemon has to run, at rest, and leads through it. Interlocks are opened by you, one after
    the other, when you are asked to. Ctrl-C gives it up. Exit code 1 if anything failed.
    """
    from daemon.api.errors import InputError
    from daemon.api.socket.client import ACT_PATIENCE_S, Client, DaemonUnreachableError
    from daemon.service.settings.file import read_settings

    try:
        current_a, ceiling_v = (
            _above_0("--current", current, "A"),
            _above_0("--ceiling", ceiling, "V"),
        )
        client = Client(read_settings(settings).daemon.socket, timeout_s=ACT_PATIENCE_S)
    except InputError as error:
        raise BadInputError(str(error)) from error
    click.echo(CAUTION)
    click.confirm("Begin?", abort=True)
    try:
        walk = _begin(client, current_a, ceiling_v)
        end = _followed(client, walk)
    except DaemonUnreachableError as error:
        raise RefusedError(f"{EARLY}: {error}") from error
    if end.ended is None or end.ended.how == "given up":
        raise RefusedError(f"{EARLY}: {end.ended.why if end.ended else ''}")
    failed = [step.name for step in end.steps if step.state == "failed"]
    if end.ended.how == "failed":
        why = f"; it ended early: {end.ended.why}" if end.ended.why else ""
        raise RefusedError(f"kept as failed: {', '.join(failed)}{why}")
    click.echo(f"kept as passed: {len(end.steps)} steps")


def _above_0(option: str, text: str, unit: str) -> float:
    from daemon.units import UnitError, parse

    try:
        value = parse(text, unit)
    except UnitError as error:
        raise BadInputError(f"{option}: {error}") from error
    if not value > 0:
        raise BadInputError(f"{option}: must be above 0 {unit}, got {text!r}")
    return value


def _begin(client: "Client", current_a: float, ceiling_v: float) -> "ProofWalkStatus":
    from daemon.api.socket.proof import BeginProofRequest

    begin = BeginProofRequest(who=who(), where=WHERE, current_a=current_a, ceiling_v=ceiling_v)
    _told(client, begin)
    return _walk(client)


def _followed(client: "Client", walk: "ProofWalkStatus") -> "ProofWalkStatus":
    """Tell what happens and ask what is asked, until the walk is over."""
    from daemon.api.socket.proof import AnswerProofRequest, EndProofRequest

    first, told, asked = walk.id, 0, ""
    try:
        while True:
            told = _tell(walk, told)
            if walk.ended is not None:
                return walk
            wanted = f"{walk.step} {walk.todo}{walk.question}"
            if wanted != asked and walk.todo:
                click.echo(walk.todo)
            elif wanted != asked and walk.question:
                yes = click.confirm(walk.question)
                # Somebody may have answered on the page meanwhile: then this one comes too late.
                client.ask(
                    AnswerProofRequest(
                        who=who(), where=WHERE, walk=walk.id, step=walk.step, yes=yes
                    )
                )
            asked = wanted
            time.sleep(LOOK_S)
            walk = _walk(client, first)
    except (KeyboardInterrupt, click.Abort):
        client.ask(EndProofRequest(who=who(), where=WHERE, walk=first))
        return _walk(client, first)


def _tell(walk: "ProofWalkStatus", told: int) -> int:
    """Tell what came of the steps that are over, without the first `told`; how many are."""
    over = [step for step in walk.steps if step.state in ("passed", "failed")]
    for step in over[told:]:
        click.echo(f"{'passed' if step.state == 'passed' else 'FAILED'}  {step.name}: {step.seen}")
    return len(over)


def _walk(client: "Client", expected: str | None = None) -> "ProofWalkStatus":
    """How far the walk is."""
    from daemon.api.socket.proof import ProofRequest

    proof = _told(client, ProofRequest()).proof
    if proof is None or proof.walk is None or expected not in (None, proof.walk.id):
        raise RefusedError(f"{EARLY}: the daemon has started anew meanwhile")
    return proof.walk


def _told(client: "Client", request: "Request") -> "Answer":
    answer = client.ask(request)
    if not answer.ok:
        raise RefusedError(answer.error or "no reason given")
    return answer
