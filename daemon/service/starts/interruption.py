"""Runs that a daemon's death has interrupted, as the next daemon finds them."""

from daemon.api.errors import InputError
from daemon.api.plans.file import read_plan
from daemon.api.plans.known import Known, Sure
from daemon.api.sentence import duration
from daemon.clock import Clock, to_ms
from daemon.control.protection.alarms import Sign
from daemon.control.protection.causes import RUN_INTERRUPTED
from daemon.control.situation import Event
from daemon.record.interruptions import Restart
from daemon.record.recovery import Unfinished
from daemon.service.cycle.scribe import Origin
from drivers.contracts import Rating

INTERRUPTED = "the daemon stopped during this run"
"""Why such a run ended, in the record."""


def restart(clock: Clock, origin: Origin, rating: Rating) -> Restart:
    """The daemon's start as it bounds an interruption: the output has just been switched off."""

    def greatest_a(plan: str, area_dm2: float) -> float:
        """The most that a run with this plan can have asked for, A; at worst the supply's most."""
        known = Known(lambda name, copies: Sure(area_dm2, 0.0))  # noqa: ARG005
        try:
            stages = read_plan(plan, "plan", known).stages
        except InputError:
            return rating.current_a
        return max(stage.current_a for stage in stages)

    return Restart(
        clock.monotonic_s(),
        to_ms(clock.utc()),
        origin.boot_id,
        origin.clock_synchronised(),
        greatest_a,
    )


def sign_of(run: Unfinished) -> Sign:
    """The alarm's sign: what is known, and what can have passed since."""
    known = f"run {run.run_id}, {run.title}, is known until {run.charge_ah:.4f} Ah"
    if run.lasted_s is None or run.greatest_ah is None:
        seen = f"{known}; how long it was interrupted is not known, for the clock was not set"
    else:
        seen = (
            f"{known}; in the {duration(run.lasted_s)} since, between 0 and "
            f"{run.greatest_ah:.4f} Ah can have passed"
        )
    return Sign(RUN_INTERRUPTED, seen, {"run": run.run_id})


def event_of(run: Unfinished) -> Event:
    """The record's event."""
    text = (
        f"{INTERRUPTED}: run {run.run_id}, {run.title}; the record knows it until "
        f"{run.elapsed_s:.1f} s and {run.charge_ah:.4f} Ah"
    )
    figures = {"run": run.run_id, "elapsed_s": run.elapsed_s, "charge_ah": run.charge_ah}
    return Event("run interrupted", text, {**figures})
