"""Lost parts and whiskers: steps of the cell's conductance that stay. Pure."""

from collections import deque
from math import exp

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import PART_LOST, WHISKER
from daemon.control.protection.cell import Block
from daemon.control.protection.cell_thresholds import CellThresholds
from daemon.control.protection.contact import Restless
from daemon.control.protection.steps import Step, StepFinder

SCALES = (1, 3, 9)
"""Blocks of the cell that make one of each finder: about 1, 3 and 9 s."""


class PartsAndWhiskers:
    """A part that was lost makes the cell conduct less, a whisker makes it conduct more.

    A step that has been found is watched for some seconds, and told if it stays. One upwards after
    which the voltage is restless is no lost part, but a contact's. `shift` is the sum of the steps
    that stand: what of the cell's excess they explain.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._finders = tuple(StepFinder(blocks, thresholds) for blocks in SCALES)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        for finder in self._finders:
            finder.forget()
        self._recent: deque[float] = deque(maxlen=self._t.step_side)
        self._watched: Step | None = None
        self._standing: dict[str, Step] = {}
        self.signs: tuple[Sign, ...] = ()
        self.shift = 0.0

    def clear(self) -> None:
        """Compare nothing after this moment with anything before it. What stands, stands."""
        for finder in self._finders:
            finder.clear()
        self._watched = None
        self._recent.clear()

    def look(self, block: Block, exponent_u: float, restless: Restless) -> None:
        """Bring `signs` up to date with one more block."""
        self._recent.append(block.excess)
        if len(self._recent) == self._recent.maxlen and self._standing:
            self._end_what_is_back(sum(self._recent) / len(self._recent))
        if self._watched is not None:
            self._watch(self._watched, block, restless)
            return
        found = [step for f in self._finders if (step := f.add(block, exponent_u)) is not None]
        if found:
            self._watched = found[0]
            for finder in self._finders:
                finder.clear()

    def _watch(self, step: Step, block: Block, restless: Restless) -> None:
        """Tell a step that stays, and drop one that does not."""
        level = sum(self._recent) / len(self._recent)
        if self._is_back(step, level):
            self.clear()
            return
        up = step.size > 0.0
        on_s = self._t.part_on_s if up else self._t.whisker_on_s
        if block.at_s - step.at_s < on_s:
            return
        self._watched = None
        if up and (restless.has_grown_by(step.size) or self._ends_whisker(level)):
            return
        self._stand(PART_LOST if up else WHISKER, step)

    def _ends_whisker(self, level: float) -> bool:
        """Whether a step upwards only leads back to where a whisker had led away from."""
        whisker = self._standing.get(WHISKER)
        if whisker is None:
            return False
        return level < whisker.before.excess - self._t.step_back * whisker.size

    def _end_what_is_back(self, level: float) -> None:
        back = [cause for cause, step in self._standing.items() if self._is_back(step, level)]
        for cause in back:
            self.shift -= self._standing.pop(cause).size
            self.signs = tuple(sign for sign in self.signs if sign.cause != cause)
        if back:
            self.clear()

    def _is_back(self, step: Step, level: float) -> bool:
        left = (level - step.before.excess) / step.size
        return left < self._t.step_back

    def _stand(self, cause: str, step: Step) -> None:
        before = self._standing.get(cause)
        if before is not None:
            # The second part, the next whisker: the alarm is there, its end is when all are gone.
            step = Step(before.at_s, before.size + step.size, before.before, step.after)
            self.shift -= before.size
        self._standing[cause] = step
        self.shift += step.size
        others = tuple(sign for sign in self.signs if sign.cause != cause)
        repeat = sum(sign.repeat + 1 for sign in self.signs if sign.cause == cause)
        figures = _figures(step)
        self.signs = (*others, Sign(cause, _told(step), figures, repeat))


def _figures(step: Step) -> Figures:
    return {
        "voltage_before_v": round(exp(step.before.log_v), 4),
        "voltage_v": round(exp(step.after.log_v), 4),
        "current_before_a": round(exp(step.before.log_a), 4),
        "current_a": round(exp(step.after.log_a), 4),
        "conductance_percent": round(100.0 * (exp(-step.size) - 1.0), 1),
    }


def _told(step: Step) -> str:
    """What was seen, after whichever of voltage and current has moved more."""
    before, after = step.before, step.after
    if _moved(before.log_v, after.log_v) >= _moved(before.log_a, after.log_a):
        text = _stepped("voltage", before.log_v, after.log_v, "V")
        text += f" at {exp(after.log_a):.2f} A"
    else:
        text = _stepped("current", before.log_a, after.log_a, "A")
        text += f" at {exp(after.log_v):.2f} V"
    change = exp(-step.size) - 1.0
    return f"{text}: the cell conducts {abs(change):.0%} {'less' if change < 0 else 'more'}"


def _moved(before: float, after: float) -> float:
    return abs(after - before)


def _stepped(what: str, before: float, after: float, unit: str) -> str:
    return f"the {what} stepped from {exp(before):.2f} {unit} to {exp(after):.2f} {unit}"
