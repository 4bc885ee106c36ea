"""People at the tank: they come late, press the wrong buttons, and now and then do the right thing.

All that they do is drawn from the night's course, at moments of the world's clock.
"""

from sqlalchemy.exc import DatabaseError

from daemon.api.errors import InputError
from daemon.control.situation import NOTHING_CARRIED, AlarmAct
from daemon.control.states import Act, State
from daemon.record import queries
from daemon.record.entries import Settled
from daemon.record.errors import NotSettledError
from daemon.record.store import open_reader
from daemon.service.cycle.runner import Order
from daemon.service.cycle.runner import Settled as SettledMail
from daemon.service.starts.going_on import unfinished
from daemon.service.starts.resuming import EVERY_S, TRIES, WHERE, WHO

MOST_STARTS = 6
"""Runs of a night: people go to bed."""

AHEAD_S = 1.0
"""s at full rate before anybody does anything."""

SWITCHES_ON = frozenset({Act.START, Act.RESUME})


class People:
    """Everybody who acts. `granted` says that somebody's start or resume was done in this turn."""

    def __init__(self, world):
        self._world = world
        self._draw = world.night.course
        self._orders = []
        self._starts = 0
        self._state = None
        self._standing = ()
        self._finger_until_s = 0.0
        self.acts = 0

    def begin(self):
        """What is settled from the start: somebody starts, and some press at random."""
        draw, world = self._draw, self._world
        self._later(draw.uniform(1.0, 20.0), self._start)
        for _ in range(draw.randint(0, 6)):
            moment_s = draw.uniform(0.0, 3600.0 * world.night.hours)
            self._later(moment_s, self._press_something)

    def _later(self, after_s, do):
        world = self._world
        world.at(world.clock.now_s + after_s - AHEAD_S, lambda: world.attend(2.0 * AHEAD_S))
        world.at(world.clock.now_s + after_s, do)

    def granted(self):
        """Whether an order to switch on was done since the last time this was asked."""
        done = False
        for order in [each for each in self._orders if each.answered.is_set()]:
            self._orders.remove(order)
            done = done or (order.act in SWITCHES_ON and order.error is None)
        return done

    def started_anew(self, daemon):
        """A new process: what was asked of the old one is forgotten, and it may go on by itself."""
        self._orders.clear()
        self._state = None
        run_id = daemon.settings.after_interruption.run_to_go_on(daemon.interrupted)
        if run_id is not None:
            self._go_on_by_settings(daemon, run_id, 1)
        for run in daemon.interrupted:
            if self._draw.random() < 0.5:
                self._later(self._draw.uniform(30.0, 1800.0), lambda run=run: self._settle(run))

    def see(self, situation):
        """React, some time later, to a new state of the run and to alarms."""
        if situation.state is not self._state:
            self._state = situation.state
            self._react(situation.state)
        standing = situation.alarms.standing
        if standing is not self._standing:
            if any(alarm.acknowledged_by is None for alarm in standing):
                self._later(self._delay(2.0, 3600.0), self._attend)
            self._standing = standing

    def _delay(self, least_s, most_s):
        return least_s * (most_s / least_s) ** self._draw.random()

    def _react(self, state):
        draw = self._draw
        if state is State.HELD:
            act = draw.choice((Act.RESUME, Act.RESUME, Act.RESUME, Act.STOP, Act.ABORT))
            self._later(self._delay(1.0, 1800.0), lambda: self.order(act))
        elif state is State.ABORTED:
            self._later(self._delay(5.0, 1800.0), lambda: self.order(Act.RESET))
        elif state in (State.IDLE, State.STOPPED, State.COMPLETE) and self._starts:
            self._later(self._delay(10.0, 1200.0), self._start)

    def _start(self):
        if self._starts >= MOST_STARTS:
            return
        daemon = self._world.daemon
        if daemon is None:
            return
        goes_on_from, carried = None, NOTHING_CARRIED
        if self._world.record is not None and self._draw.random() < 0.4:
            goes_on_from, carried = self._to_go_on_with()
        self._starts += 1
        self.order(Act.START, goes_on_from=goes_on_from, carried=carried)

    def _to_go_on_with(self):
        """The last run and what is on its part, as the record knows it."""
        engine = open_reader(self._world.record)
        try:
            with engine.connect() as connection:
                number = queries.next_run_id(connection) - 1
                return number, unfinished(connection, number).carried
        except InputError:
            return None, NOTHING_CARRIED
        finally:
            engine.dispose()

    def _go_on_by_settings(self, daemon, run_id, tried):
        """What `daemon.service.starts.resuming.Resumer` asks for, on this clock."""

        def ask():
            if self._world.daemon is not daemon:
                return
            engine = open_reader(self._world.record)
            try:
                with engine.connect() as connection:
                    carried = unfinished(connection, run_id).carried
            except InputError:
                return
            finally:
                engine.dispose()
            order = self.order(Act.START, WHO, WHERE, goes_on_from=run_id, carried=carried)

            def again():
                if order.error is not None and tried < TRIES:
                    self._go_on_by_settings(daemon, run_id, tried + 1)

            self._later(0.2, again)

        self._later(EVERY_S, ask)

    def _settle(self, run):
        world = self._world
        if world.daemon is None:
            return
        most_ah = run.greatest_ah if run.greatest_ah is not None else 0.5
        word = Settled(run.run_id, self._draw.uniform(0.0, most_ah), "Ann", "", 1_800_000_000_000)
        try:
            added_ah, _ = world.daemon.writer.settle(word)
        except NotSettledError as error:
            world.checks.broken(2, f"a charge within the bounds was refused: {error}")
            return
        except DatabaseError:  # the disk refuses, and whoever asked is told
            return
        world.checks.settled_ah += added_ah
        world.daemon.mailbox.put(SettledMail(added_ah))

    def order(self, act, who="Ann", where="page", **more):
        """Hand in an act, as the control socket does: what switches on only with the way proven."""
        world = self._world
        daemon = world.daemon
        self.acts += 1
        world.attend(8.0)
        plan = daemon.plan if daemon is not None and act is Act.START else None
        text = world.night.plan_text if plan is not None else ""
        unproven = self._unproven() if act in SWITCHES_ON else None
        order = Order(act, who, plan, text, where, unproven=unproven, **more)
        if daemon is not None:
            self._orders.append(order)
            daemon.mailbox.put(order)
        return order

    def _unproven(self):
        """What the guard's proof comes to: its own "output off", read back; None if it works."""
        world = self._world
        if world.daemon is None or world.daemon.loop.situation.demand.output_on:
            return "the supply's output is not known to be off"
        if world.supply.line.is_well:
            world.supply.switch_off_past_the_loop()
            if not world.supply.bench.supply.output_on:
                return None
        return "the guard cannot switch the output off by its own way"

    def _press_something(self):
        """The wrong button."""
        draw, world = self._draw, self._world
        if world.daemon is None:
            return
        if draw.random() < 0.7:
            self.order(draw.choice(list(Act)))
        else:
            self._alarm_act(
                AlarmAct(
                    draw.choice(("acknowledge", "shelve", "unshelve")),
                    "Bob",
                    draw.choice((None, 1, 2, 3, 7)),
                    draw.choice((-1.0, 600.0, 1e6)),
                )
            )

    def _attend(self):
        """Somebody has come to see about an alarm."""
        draw, world = self._draw, self._world
        if world.daemon is None:
            return
        standing = world.daemon.loop.situation.alarms.standing
        if not standing:
            return
        alarm = draw.choice(standing)
        what = draw.random()
        if what < 0.4:
            self._alarm_act(AlarmAct("acknowledge", "Ann"))
        elif what < 0.7:
            self._alarm_act(AlarmAct("acknowledge", "Ann", alarm.number))
        elif what < 0.8:
            self._alarm_act(AlarmAct("shelve", "Ann", alarm.number, draw.uniform(60.0, 7200.0)))
        elif what < 0.85:
            self._alarm_act(AlarmAct("unshelve", "Ann", alarm.number))
        elif world.night.has_signals:
            self._press_the_button()
        if any(each.acknowledged_by is None for each in standing):
            self._later(self._delay(10.0, 3600.0), self._attend)

    def _alarm_act(self, act):
        self.acts += 1
        self._world.attend(3.0)
        order = Order(act, act.who, where="page")
        self._world.daemon.mailbox.put(order)

    def _press_the_button(self):
        """A finger stays on it for a third of a second."""
        button, world = self._world.button, self._world
        world.attend(3.0)
        self.acts += 1
        if button.is_closed:
            return
        button.is_closed = True

        def let_go():
            button.is_closed = False

        self._later(0.3, let_go)
