"""What is due of a bath, in words: for the sentence, the page, the command line and a start."""

from daemon.api.sentence import due_thing, duration
from daemon.api.socket.messages import DueStatus
from daemon.bath.due import Due
from daemon.bath.kinds import DOSE


def due_status(due: Due, plating_s: float | None = None) -> DueStatus:
    """What is due, as a message. `plating_s` is when it is, at the current of the run under way."""
    return DueStatus(
        kind="dose" if due.kind == DOSE else "upkeep",
        name=due.name,
        amount_ml=due.amount_ml,
        open_ml=due.open_ml,
        doses=due.doses,
        in_ah=due.in_ah,
        in_s=due.in_s,
        plating_s=plating_s,
    )


def charge(charge_ah: float) -> str:
    """A charge as finely as matters here: `12.4 Ah`, `0.67 Ah`."""
    return f"{charge_ah:.{1 if charge_ah >= 1 else 2}f} Ah"


def line(due: DueStatus) -> str:
    """What it is and when: `5 mL of brightener in 12.4 Ah, at the plan's current in 2 h 10 min`."""
    if due.doses:
        return f"{due_thing(due)} now{_overdue(due)}"
    if due.kind == "dose" and due.amount_ml is None:
        return f"{due.name}: {_opened(due.open_ml or 0.0)}"
    when = [] if due.in_ah is None else [charge(due.in_ah)]
    when += [] if due.in_s is None else [duration(due.in_s)]
    said = f"{due_thing(due)} in {' or '.join(when)}"
    if due.plating_s is not None:
        said += f", at the plan's current in {duration(due.plating_s)}"
    return said


def short(dues: tuple[DueStatus, ...]) -> str:
    """All that is due now; if nothing is, what comes next by charge; nothing without either."""
    now = [line(due) for due in dues if due.doses]
    if now:
        return "; ".join(now)
    later = [due for due in dues if due.in_ah is not None]
    return line(min(later, key=lambda due: due.in_ah or 0.0)) if later else ""


def _overdue(due: DueStatus) -> str:
    over = [] if due.in_ah is None or due.in_ah > 0 else [charge(-due.in_ah)]
    over += [] if due.in_s is None or due.in_s > 0 else [duration(-due.in_s)]
    return f", overdue by {' and '.join(over)}" if over else ""


def _opened(open_ml: float) -> str:
    return f"{abs(open_ml):.1f} mL {'used and not dosed' if open_ml >= 0 else 'dosed ahead'}"
