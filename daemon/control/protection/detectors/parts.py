"""Lost parts and whiskers: steps of the cell's conductance that stay. Pure."""

from collections import deque
from math import exp

from daemon.control.protection.alarms import Figures, Sign
from daemon.control.protection.causes import PART_LOST, WHISKER
from daemon.control.protection.detectors.cell import Block
from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.contact import Restless
from daemon.control.protection.detectors.lasting import Lasting
from daemon.control.protection.detectors.steps import Step, StepFinder

SCALES_S = (1.0, 3.0, 9.0)
"""s of readings in a block of each finder."""

RESTLESS_PATIENCE = 3.0
"""Times what a step has to last: so long one is watched whose voltage is restless."""

PAST, PAST_LEAST = 30, 10
"""Blocks of the cell before a step that say where it was: at the most and at the least."""

PAST_MOST = PAST + 50
"""Blocks that are remembered: those, and as many as may lie in and after a step."""

WELL_UP = 0.25
"""Of a step down: with a mean that is up by this in unrest it only leads back."""

CALM = 0.4
"""Of the last digit: with less noise than this a meter rests on its digits."""


class PartsAndWhiskers:
    """A part that was lost makes the cell conduct less, a whisker makes it conduct more.

    A step that has been found is watched for some seconds, and told if it stays. One upwards after
    which the voltage is restless is no lost part, but a contact's. `shift` is the sum of the steps
    that stand: what of the cell's excess they explain.
    """

    def __init__(self, thresholds: CellThresholds) -> None:
        self._t = thresholds
        self._finders = tuple(StepFinder(span_s, thresholds) for span_s in SCALES_S)
        self._lasting = Lasting(0.0, thresholds.whisker_off_s)
        self.forget()

    def forget(self) -> None:
        """Begin anew."""
        for finder in self._finders:
            finder.forget()
        self._recent: deque[float] = deque(maxlen=self._t.step_side)
        self._past: deque[float] = deque(maxlen=PAST_MOST)
        self._watched: Step | None = None
        self._standing: dict[str, Step] = {}
        self._lasting.forget()
        self.signs: tuple[Sign, ...] = ()
        self.shift = 0.0
        self.slope_per_s = 0.0

    def clear(self) -> None:
        """Compare nothing after this moment with anything before it. What stands, stands."""
        for finder in self._finders:
            finder.clear()
        self._watched = None
        self._recent.clear()
        self._past.clear()

    def look(self, block: Block, exponent_u: float, restless: Restless) -> None:
        """Bring `signs` up to date with one more block."""
        self._recent.append(block.excess)
        level = sum(self._recent) / len(self._recent)
        whisker = self._standing.get(WHISKER)
        there = whisker is not None and not self._is_back(whisker, level, 0.0)
        if whisker is not None and not self._lasting.seen(there, block.at_s):
            self._end(WHISKER)
        if self._watched is not None:
            self._watch(self._watched, level, block.at_s, restless)
            return
        if restless.usual > CALM * block.grain_v:
            # Where noise carries a value across its digits all the time, means know no digits.
            block = block._replace(grain_v=0.0)
        self._past.append(block.excess)
        longer_v = [finder.sigma_v for finder in self._finders[1:]] + [0.0]
        for finder, wander_v in zip(self._finders, longer_v, strict=True):
            step = finder.add(block, exponent_u, wander_v)
            if step is not None and self._watched is None and self._is_new(step, finder):
                self._watched = step
        self.slope_per_s = self._finders[0].slope / block.lasts_s
        if self._watched is not None:
            for finder in self._finders:
                finder.clear()

    def _is_new(self, step: Step, finder: StepFinder) -> bool:
        """Whether a step leads away from the line of before, not back to it from some seconds off.

        That line is fitted by least squares to the blocks before the step.
        """
        after = finder.after_blocks
        older = list(self._past)[-PAST - after : -after]
        n = len(older)
        if n < PAST_LEAST:
            return True
        centre, mean = 0.5 * (n - 1), sum(older) / n
        rise = sum((i - centre) * value for i, value in enumerate(older))
        slope = rise * 12.0 / (n * (n * n - 1.0))
        away = step.after.excess - mean - slope * (0.5 * (n + after))
        return away / step.size > self._t.step_back

    def _watch(self, step: Step, level: float, at_s: float, restless: Restless) -> None:
        """Tell a step that stays, and drop one that does not."""
        passed_s = at_s - step.at_s
        if self._is_back(step, level, passed_s):
            self.clear()
            return
        on_s = self._t.part_on_s if step.size > 0.0 else self._t.whisker_on_s
        if passed_s < on_s:
            return
        if _is_contacts(step, restless):
            # Maybe a contact's: that is for its own detector to say. Chance passes.
            if passed_s > RESTLESS_PATIENCE * self._t.part_on_s:
                self.clear()
            return
        self._watched = None
        self._tell(step)

    def _tell(self, step: Step) -> None:
        """Tell a step, or what it undoes."""
        cause, other = (PART_LOST, WHISKER) if step.size > 0.0 else (WHISKER, PART_LOST)
        before = self._standing.get(other)
        share = 0.0 if before is None else -step.size / before.size
        if before is not None and share < self._t.step_back:
            return  # a whisker that jumps, or too little to tell from one
        if before is not None:
            self._end(other)
        if before is None or share > 1.0 / self._t.step_back:
            self._stand(cause, step)

    def _is_back(self, step: Step, level: float, passed_s: float) -> bool:
        """Whether little is left of a step, `passed_s` after it."""
        left = level - step.before.excess - step.slope_per_s * passed_s
        return left / step.size < self._t.step_back

    def _end(self, cause: str) -> None:
        self.shift -= self._standing.pop(cause).size
        self.signs = tuple(sign for sign in self.signs if sign.cause != cause)

    def _stand(self, cause: str, step: Step) -> None:
        before = self._standing.get(cause)
        if before is not None:
            # The second part, the next whisker: the alarm is there, its end is when all are gone.
            self.shift -= before.size
            step = before._replace(size=before.size + step.size, after=step.after)
        self._standing[cause] = step
        self.shift += step.size
        if cause == WHISKER:
            self._lasting.seen(True, step.at_s)
        others = tuple(sign for sign in self.signs if sign.cause != cause)
        repeat = sum(sign.repeat + 1 for sign in self.signs if sign.cause == cause)
        self.signs = (*others, Sign(cause, _told(step), _figures(step), repeat))


def _is_contacts(step: Step, restless: Restless) -> bool:
    """Whether a step may be a contact's: all steps up are in unrest, and some back down."""
    up = restless.up
    return restless.has_grown and (
        step.size > 0.0 or (up is not None and up > -step.size * WELL_UP)
    )


def _figures(step: Step) -> Figures:
    return {
        "voltage_before_v": round(exp(step.before.log_v), 4),
        "voltage_v": round(exp(step.after.log_v), 4),
        "current_before_a": round(exp(step.before.log_a), 4),
        "current_a": round(exp(step.after.log_a), 4),
        "conductance_percent": round(100.0 * (exp(-step.size) - 1.0), 1),
    }


def _told(step: Step) -> str:
    """What was seen: a step of the voltage, or of the current where the voltage is held.

    The voltage before is what it would have come to by then, on any slope.
    """
    before, after = step.before, step.after
    if abs(after.log_v - before.log_v) >= abs(after.log_a - before.log_a):
        text = _stepped("voltage", after.log_v - step.size, after.log_v, "V")
        text += f" at {exp(after.log_a):.2f} A"
    else:
        text = _stepped("current", before.log_a, after.log_a, "A")
        text += f" at {exp(after.log_v):.2f} V"
    change = exp(-step.size) - 1.0
    return f"{text}: the cell conducts {abs(change):.0%} {'less' if change < 0 else 'more'}"


def _stepped(what: str, before: float, after: float, unit: str) -> str:
    return f"the {what} stepped from {exp(before):.2f} {unit} to {exp(after):.2f} {unit}"
