"""The command line: `tankhand serve`, the acts on a run, counting and calibrating, the demo.

Heavy imports wait until a command needs them: `serve` has to have the output off first.
"""

import sys
from pathlib import Path

import click

from daemon.service.commands.alarms import acknowledge, shelve, unshelve
from daemon.service.commands.analyse import analyse, analyses
from daemon.service.commands.asking import WHERE, ask
from daemon.service.commands.backup import backup, restore
from daemon.service.commands.bath import bath
from daemon.service.commands.bath_figures import drag_out, filtration, hull
from daemon.service.commands.calibrate import calibrate, calibrations, recount_run
from daemon.service.commands.classes import classes
from daemon.service.commands.command import BadInputError, settings_option, who
from daemon.service.commands.cost import cost
from daemon.service.commands.effects import effects
from daemon.service.commands.hardware import hardware
from daemon.service.commands.makeup import makeup, mixed, top_up
from daemon.service.commands.off import off
from daemon.service.commands.operator import operator
from daemon.service.commands.part import part, parts
from daemon.service.commands.prove import prove
from daemon.service.commands.pump import pump
from daemon.service.commands.readings import readings
from daemon.service.commands.recount import recount
from daemon.service.commands.rehearse import rehearse
from daemon.service.commands.settings import show_settings
from daemon.service.commands.settle import settle
from daemon.service.commands.tell_test import tell_test
from daemon.service.commands.thresholds import thresholds
from daemon.service.commands.token import token
from daemon.service.commands.weigh import weigh, weighings


@click.group()
@click.version_option(package_name="tankhand")
def main() -> None:
    """Keep an electroplating run honest and safe while nobody is at the tank.

    Software is no safety function: the emergency stop is a switch in the supply's line.
    """


@main.command()
@settings_option
def serve(settings: Path) -> None:
    """Run the daemon: guard, loop and page. SIGTERM takes the current down and ends it."""
    from daemon.service.supervision import guard

    sys.exit(guard.serve(settings))


@main.command()
@click.argument("plan", type=click.Path(path_type=Path), required=False)
@click.option(
    "--continue", "goes_on_from", type=click.IntRange(min=1), metavar="RUN",
    help="Go on with the part of this run, by its plan unless PLAN is given.",
)  # fmt: skip
@click.option("--check", is_flag=True, help="Start nothing: say whether the plan can work.")
@settings_option
def run(plan: Path | None, goes_on_from: int | None, check: bool, settings: Path) -> None:
    """Start a run with the plan in the file PLAN, or go on with the part of an earlier one.

    What falls due of the bath before its end is said as well.
    """
    from daemon.api.socket.messages import StartRequest
    from daemon.service.commands.file_text import read_plan_text

    if plan is None and goes_on_from is None:
        raise BadInputError("PLAN is missing: a plan's file, or --continue RUN")
    text = "" if plan is None else read_plan_text(plan)
    ask(
        settings,
        StartRequest(plan=text, goes_on_from=goes_on_from, check=check, who=who(), where=WHERE),
    )


def _act(name: str, text: str) -> None:
    @main.command(name, help=text)
    @settings_option
    def act(settings: Path) -> None:
        from daemon.api.socket.messages import ActRequest

        ask(settings, ActRequest.model_validate({"ask": name, "who": who(), "where": WHERE}))


_act("hold", "Take the current away and keep the run; `resume` goes on with it.")
_act("resume", "Go on with a held run.")
_act("stop", "End the run in good order: current down, output off.")
_act("abort", "Output off at once.")
_act("reset", "After an aborted run, when the tank has been looked at: ready for the next.")


@main.command()
@settings_option
def status(settings: Path) -> None:
    """Say how the tank is."""
    from daemon.api.socket.messages import StatusRequest

    ask(settings, StatusRequest())


@main.command()
@click.option(
    "--rate",
    type=click.FloatRange(1, 2000),
    default=200.0,
    show_default=True,
    help="How many times faster than real time.",
)
@click.option("--listen", default="127.0.0.1:8080", show_default=True, help="The page's address.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep record and settings here.")
@click.option(
    "--stay/--no-stay",
    default=None,
    help="Serve the page after the run until Ctrl-C; by default in a terminal only.",
)
def demo(rate: float, listen: str, keep: Path | None, stay: bool | None) -> None:
    """Plate a made-up part on a simulated tank, a night in minutes. Needs no hardware."""
    from daemon.service.commands import demo as show

    sys.exit(show.run(rate, listen, keep, sys.stdin.isatty() if stay is None else stay))


for command in (
    acknowledge,
    shelve,
    unshelve,
    rehearse,
    effects,
    show_settings,
    thresholds,
    off,
    recount,
    calibrate,
    calibrations,
    recount_run,
    readings,
    cost,
    settle,
    prove,
    pump,
    tell_test,
    bath,
    analyse,
    analyses,
    hull,
    filtration,
    drag_out,
    hardware,
    makeup,
    mixed,
    top_up,
    part,
    parts,
    classes,
    operator,
    token,
    weigh,
    weighings,
    backup,
    restore,
):
    main.add_command(command)


if __name__ == "__main__":
    main()
