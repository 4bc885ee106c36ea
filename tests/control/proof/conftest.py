"""A cabinet around the ideal supply, a person at it, and somebody who leads a walk through."""

from types import SimpleNamespace

import pytest

from daemon.control.dosing_pump import HandRunOver, HandSeen
from daemon.control.obey import refusal
from daemon.control.proof.steps import Cabinet, steps_of
from daemon.control.proof.walk import walk
from daemon.control.proof.wants import Deed, Look
from daemon.control.protection.alarms import BUTTON, Sign
from daemon.control.protection.causes import INTERLOCK
from daemon.control.protection.effects import DEFAULTS, Effects, Stop, Table
from daemon.control.situation import AlarmAct, Limits
from daemon.control.states import PLATING, Act

LOOPS = {"filter pump": Stop.NOTHING, "lid": Stop.HOLD, "level": Stop.STOP, "leak": Stop.ABORT}
TABLE = Table(
    {
        **DEFAULTS,
        **{INTERLOCK + n: Effects(s, siren=s is Stop.ABORT) for n, s in LOOPS.items()},
    }
)
LETS_GO_S = 0.35
OPEN_TOLD_S = 1.0
"""s from the heartbeat's end until the contactor opens, and until a detector tells of it."""


def make_cabinet(loops=tuple(LOOPS), drop_out_s=1.0, table=TABLE, **more):
    pull_in_s = 0.5 if drop_out_s else 0.0
    limits = Limits(table=table, pull_in_s=pull_in_s, drop_out_s=drop_out_s)
    return Cabinet(tuple(loops), limits, **more)


class Guide:
    """Leads a walk on an ideal supply; the person does at once what is asked.

    `lazy` is somebody who does nothing, `says` answers questions. `welded`: the contactor stays
    closed. `wants` are all that the walk has wanted. `pumps` is by additive when each ends, what is
    seen of it, and how it ran: `runs` are for how long it was to, and what has cut it short.
    """

    def __init__(self, tank, plan, cabinet):
        self.tank, self.plan, self.cabinet = tank, plan, cabinet
        tank.limits = cabinet.limits
        self.lazy = self.welded = False
        self.says = lambda question: True  # noqa: ARG005
        self.sends = lambda: None
        self.meddle = lambda want: None  # noqa: ARG005
        self.withheld_s = None
        self.wants = []
        self.pump_refusal = None
        self.pumps = {each.additive: HandSeen(by_hand=False) for each in cabinet.pumps}
        self.runs = []
        self._pump_ends_s = 0.0
        self._flowing_a = tank.flowing_a
        tank.flowing_a = self._through_contactor

    def _through_contactor(self, demand):
        opened = self.withheld_s is not None and self.tank.now_s > self.withheld_s + LETS_GO_S
        return 0.0 if opened and not self.welded else self._flowing_a(demand)

    def lead(self):
        """The findings by name, once the walk has come to its end."""
        steps = steps_of(self.cabinet)
        self.tank.tick()
        walked = walk(steps, self.cabinet.limits)
        want = next(walked)
        while True:
            self.wants.append(want)
            self.meddle(want)
            refused = self._do(want.do, want) if want.do else self._pass(want)
            answer = self.says(want.question) if want.question else None
            self._turn_pump()
            look = Look(
                self.tank.situation, self.tank.now_s, self.tank.now_s, refused, answer,
                dict(self.pumps),
            )  # fmt: skip
            try:
                want = walked.send(look)
            except StopIteration as end:
                return {each.name: each for each in end.value}

    def _turn_pump(self):
        """As the daemon's own: it ends by its time, or with its level's loop."""
        for pump in self.cabinet.pumps:
            if not self.pumps[pump.additive].by_hand:
                continue
            low = pump.level in self.tank.situation.open_loops
            if low or self.tank.now_s >= self._pump_ends_s:
                cut = f"interlock open: {pump.level}" if low else None
                self.pumps[pump.additive] = HandSeen(False, HandRunOver(1.0, cut))
                self.runs.append(cut)

    def _do(self, deed, want):
        if deed is Deed.RUN_PUMP:
            if self.pump_refusal is None:
                (pump,) = self.cabinet.pumps
                self.runs.append(want.for_s)
                self._pump_ends_s = self.tank.now_s + want.for_s
                self.pumps[pump.additive] = HandSeen(by_hand=True)
            return self.pump_refusal
        if deed is Deed.STOP_PUMP:
            self.runs.append("stopped")
            return None
        if deed is Deed.SEND:
            return self.sends()
        if deed is Deed.WITHHOLD:
            self.withheld_s = self.tank.now_s
            return None
        act = Act(deed.value)
        refused = refusal(self.tank.situation, act, self.tank.now_s, self.tank.limits)
        if refused is None:
            self.withheld_s = None
            self.tank.tick(act, plan=self.plan if act is Act.START else None)
        return refused

    def _pass(self, want):
        tank = self.tank
        if not self.lazy:
            for loop in self.cabinet.loops:
                opens = f"pen the loop of {loop!r} now"
                if opens in want.todo:
                    tank.open_loops = (loop,)
                elif want.todo.startswith(f"Close the loop of {loop!r}"):
                    tank.open_loops = ()
            if want.todo.startswith("Press"):
                tank.alarm_act = AlarmAct("acknowledge", BUTTON)
        told = self.withheld_s is not None and tank.now_s > self.withheld_s + OPEN_TOLD_S
        opened = told and not self.welded and tank.state in PLATING
        tank.signs = (Sign("open circuit", "0.000 A"),) if opened else ()
        tank.tick()
        tank.alarm_act = None


@pytest.fixture
def guide(tank, plan, stage):
    """Make a guide for a cabinet of one's own, by keywords of `make_cabinet`."""
    proof_plan = plan(stage(0.2))

    def make(**cabinet):
        return Guide(tank, proof_plan, make_cabinet(**cabinet))

    return make


@pytest.fixture
def cabinet():
    return make_cabinet


@pytest.fixture
def loops():
    return SimpleNamespace(table=TABLE, names=tuple(LOOPS))
