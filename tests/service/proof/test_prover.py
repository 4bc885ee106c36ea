"""Whoever leads a walk: what is done for it, who answers, how it ends, and what is kept of it."""

import threading
import time
from datetime import UTC, datetime

import pytest
from sqlalchemy.exc import OperationalError

from daemon.api.errors import InputError
from daemon.api.socket.messages import Answer
from daemon.api.socket.proof import AnswerProofRequest, BeginProofRequest, EndProofRequest
from daemon.clock import SystemClock
from daemon.control.dosing_pump import HandSeen
from daemon.control.proof.steps import Cabinet
from daemon.control.proof.wants import Deed, Finding, ProofEndedError, Want
from daemon.control.situation import Limits, Situation
from daemon.control.states import State
from daemon.record.entries import ProofStep
from daemon.service.proof.due import Due
from daemon.service.proof.prover import Prover, Tank

BEGIN = BeginProofRequest(who="Ann", where="page, 127.0.0.1", current_a=0.2, ceiling_v=3.0)
CABINET = Cabinet((), Limits(), addresses=("phone",))  # the supply, and a message
GOOD = Finding("supply off by command", "below 0.02 A", "0.000 A after 0.10 s", True)
BAD = Finding("supply off by command", "below 0.02 A", "0.200 A after 7.0 s", False)
PATIENCE_S = 30.0


class Bench:
    """A tank whose state the acts move, a record that takes proofs, and a walk that is scripted."""

    def __init__(self, script):
        self.state = State.IDLE
        self.refusal = None
        self.asked, self.kept, self.sent = [], [], []
        self.keeps = lambda: None
        self.deaf = ()
        self.looks = []
        self.pumps = {"brightener": HandSeen(by_hand=False)}
        bench = self

        def make_walk(steps, limits):
            assert [step.name for step in steps] == ["supply off by command", "message to phone"]
            assert limits is CABINET.limits
            return script(bench)

        tank = Tank(
            lambda: Situation(self.state, 1000.0),
            lambda: self.refusal,
            lambda: Due(True, False, 7776000.0, datetime(2026, 12, 1, tzinfo=UTC), None),
            self.keep,
            lambda: self.pumps,
        )
        senders = {"phone": lambda: self.sent.append("phone")}
        self.prover = Prover(
            tank, CABINET, lambda _: senders, SystemClock(), make_walk=make_walk, look_s=0.001
        )

    def keep(self, who, steps):
        self.keeps()
        self.kept.append((who, steps))
        return 7

    def ask(self, request):
        self.asked.append(request)
        if request.ask in self.deaf:
            return Answer(ok=False, error="the loop did not answer")
        moves = {"start": State.RUNNING, "stop": State.STOPPED, "abort": State.ABORTED}
        self.state = moves.get(request.ask, self.state)
        if request.ask.endswith(" pump"):
            self.pumps = {"brightener": HandSeen(by_hand=request.ask == "run pump")}
        return Answer(ok=True)

    def begin(self):
        self.prover.begin(BEGIN, self.ask)
        return self.walk

    @property
    def walk(self):
        return self.prover.status().walk

    def until(self, holds):
        give_up_s = time.monotonic() + PATIENCE_S
        while not holds(self.walk):
            assert time.monotonic() < give_up_s, self.walk
            time.sleep(0.001)
        return self.walk

    def ended(self):
        return self.until(lambda walk: walk.ended is not None)

    def answer(self, *, step, yes=True, walk=None):
        self.prover.answer(
            AnswerProofRequest(who="Ann", walk=walk or self.walk.id, step=step, yes=yes)
        )


def asks_once(bench):
    """A walk that starts the run, finds the supply good, and asks whether the message came."""
    look = yield Want(0, ())
    bench.looks.append((yield Want(0, (), do=Deed.START)))
    bench.looks.append((yield Want(0, (), do=Deed.STOP)))
    bench.looks.append((yield Want(1, (GOOD,), do=Deed.SEND)))
    while look.answer is None:
        look = yield Want(1, (GOOD,), question="Has it arrived?", until_s=look.real_s + 60.0)
    came = Finding("message to phone", "it arrives", "it has arrived", look.answer)
    return (GOOD, came)


def waits_for_ever(bench, findings=()):
    look = yield Want(0, findings, do=Deed.START)
    while True:
        bench.looks.append(look)
        look = yield Want(0, findings, todo="Open the loop.", until_s=look.real_s + 120.0)


def test_what_is_wanted_is_done_and_what_is_found_is_kept():
    bench = Bench(asks_once)
    bench.begin()
    walk = bench.until(lambda walk: walk.question)
    assert (walk.who, walk.step, walk.question, walk.ended) == ("Ann", 1, "Has it arrived?", None)
    assert 0 < walk.left_s <= 60.0
    assert [step.state for step in walk.steps] == ["passed", "under way"]
    assert bench.prover.under_way == "step 2 of 2, message to phone"
    bench.answer(step=1)
    walk = bench.ended()
    assert (walk.ended.how, walk.ended.kept) == ("passed", 7)
    assert [(step.state, step.seen) for step in walk.steps] == [
        ("passed", "0.000 A after 0.10 s"), ("passed", "it has arrived"),
    ]  # fmt: skip
    assert bench.sent == ["phone"]
    assert [(r.ask, r.who, r.where) for r in bench.asked] == [
        ("start", "Ann", "proof test, page, 127.0.0.1"),
        ("stop", "Ann", "proof test, page, 127.0.0.1"),
    ]  # fmt: skip
    assert 'title = "Proof test"' in bench.asked[0].plan
    assert 'current = "0.2 A"' in bench.asked[0].plan
    ((who, steps),) = bench.kept
    assert who == "Ann"
    assert steps[1] == ProofStep("message to phone", "it arrives", "it has arrived", True)
    assert bench.prover.under_way is None


def test_a_no_is_kept_as_a_failure():
    bench = Bench(asks_once)
    bench.begin()
    bench.until(lambda walk: walk.question)
    bench.answer(step=1, yes=False)
    assert bench.ended().ended.how == "failed"


def test_an_answer_to_another_question_is_not_taken():
    bench = Bench(asks_once)
    with pytest.raises(InputError, match="that question is not asked any more"):
        bench.answer(step=0, walk="none")
    bench.begin()
    bench.until(lambda walk: walk.question)
    for wrong in ({"step": 0}, {"step": 1, "walk": "another"}):
        with pytest.raises(InputError, match="that question is not asked any more"):
            bench.answer(**wrong)
    assert bench.walk.ended is None
    bench.answer(step=1)
    bench.ended()
    with pytest.raises(InputError, match="that question is not asked any more"):
        bench.answer(step=1)


def test_one_at_a_time_and_only_where_a_run_could_start():
    bench = Bench(waits_for_ever)
    bench.refusal = "interlock open: lid"
    assert bench.prover.status().refusal == "interlock open: lid"
    with pytest.raises(InputError, match="proof test: interlock open: lid"):
        bench.begin()
    bench.refusal = None
    first = bench.begin()
    with pytest.raises(InputError, match="one is under way, begun by Ann"):
        bench.begin()
    assert bench.walk.id == first.id
    bench.prover.stop()


def test_given_up_it_takes_the_current_away_before_it_is_answered():
    bench = Bench(waits_for_ever)
    walk = bench.begin()
    bench.until(lambda walk: walk.todo)
    bench.prover.give_up(EndProofRequest(who="Ben", walk=walk.id))
    assert bench.state is State.STOPPED
    walk = bench.walk
    assert (walk.ended.how, walk.ended.why) == ("given up", "given up by Ben")
    assert (walk.todo, walk.left_s) == ("", None)
    assert [step.state for step in walk.steps] == ["not reached", "not reached"]
    assert bench.kept == []
    with pytest.raises(InputError, match="it is over already"):
        bench.prover.give_up(EndProofRequest(who="Ben", walk=walk.id))


@pytest.mark.parametrize(
    ("end", "why"),
    [
        (lambda prover: prover.interrupt("stop by Ben"), "stop by Ben"),
        (lambda prover: prover.stop(), "the daemon ends"),
    ],
)
def test_others_end_it_too(end, why):
    bench = Bench(waits_for_ever)
    bench.begin()
    bench.until(lambda walk: walk.todo)
    end(bench.prover)
    assert bench.ended().ended.why == why
    assert bench.state is State.STOPPED


def test_nothing_is_ended_where_nothing_is_under_way():
    prover = Bench(waits_for_ever).prover
    prover.interrupt("stop by Ben")
    prover.stop()
    assert (prover.status().walk, prover.under_way) == (None, None)


def test_a_walk_that_cannot_go_on_is_not_kept_while_nothing_has_failed():
    def script(bench):
        yield Want(0, (), do=Deed.START)
        raise ProofEndedError("no current flows: nothing can be proved without one")

    bench = Bench(script)
    bench.begin()
    end = bench.ended().ended
    assert (end.how, end.why, end.kept) == (
        "given up", "no current flows: nothing can be proved without one", None,
    )  # fmt: skip
    assert (bench.state, bench.kept) == (State.STOPPED, [])


def test_a_failure_that_was_seen_is_kept_whatever_ends_the_walk():
    bench = Bench(lambda bench: waits_for_ever(bench, (BAD,)))
    walk = bench.begin()
    bench.until(lambda walk: walk.todo)
    bench.prover.give_up(EndProofRequest(who="Ann", walk=walk.id))
    end = bench.walk.ended
    assert (end.how, end.why, end.kept) == ("failed", "given up by Ann", 7)
    ((_, steps),) = bench.kept
    assert steps == (
        ProofStep("supply off by command", "below 0.02 A", "0.200 A after 7.0 s", False),
        ProofStep("from supply off by command on", "every step", "given up by Ann", False),
    )


def test_a_pump_that_runs_is_stopped_when_the_walk_is_ended():
    def script(bench):
        look = yield Want(1, (), do=Deed.RUN_PUMP, for_s=30.0)
        while True:
            bench.looks.append(look)
            look = yield Want(1, (), todo="Open the loop.", until_s=look.real_s + 120.0)

    bench = Bench(script)
    bench.begin()
    bench.until(lambda walk: walk.todo)
    assert bench.looks[0].pumps["brightener"].by_hand
    bench.prover.interrupt("stop by Ben")
    bench.ended()
    # The step's subject stands for the additive here.
    assert [(each.ask, each.additive, each.for_s, each.who) for each in bench.asked] == [
        ("run pump", "phone", 30.0, "Ann"), ("stop pump", "brightener", 0.0, "Ann"),
    ]  # fmt: skip
    assert not bench.pumps["brightener"].by_hand


def test_a_fault_that_nobody_foresaw_leaves_no_current():
    def script(bench):
        yield Want(0, (), do=Deed.START)
        raise ZeroDivisionError("by nought")

    bench = Bench(script)
    bench.begin()
    assert bench.ended().ended.why == "ZeroDivisionError: by nought"
    assert bench.state is State.STOPPED


def test_a_stop_that_does_not_take_the_current_away_is_followed_by_an_abort(monkeypatch):
    monkeypatch.setattr("daemon.service.proof.prover.OFF_S", 0.01)
    bench = Bench(waits_for_ever)
    bench.deaf = ("stop",)
    bench.begin()
    bench.until(lambda walk: walk.todo)
    bench.prover.interrupt("hold by Ben")
    bench.ended()
    assert bench.state is State.ABORTED


def test_a_deed_that_is_refused_is_told_to_the_walk():
    bench = Bench(asks_once)
    bench.deaf = ("start",)
    bench.begin()
    bench.until(lambda walk: walk.question)
    assert [look.refused for look in bench.looks] == ["the loop did not answer", None, None]
    bench.prover.stop()


def test_a_record_that_does_not_take_it_is_told_and_the_steps_stay_to_be_read():
    bench = Bench(asks_once)

    def keeps():
        raise OperationalError("", {}, Exception("disk I/O error"))

    bench.keeps = keeps
    bench.begin()
    bench.until(lambda walk: walk.question)
    bench.answer(step=1)
    walk = bench.ended()
    assert (walk.ended.how, walk.ended.kept) == ("given up", None)
    assert walk.ended.why == "the record does not take it: disk I/O error"
    assert [step.state for step in walk.steps] == ["passed", "passed"]


def test_what_the_next_would_walk_through_is_told_before_one_is_begun():
    status = Bench(asks_once).prover.status()
    assert [(step.name, step.state) for step in status.steps] == [
        ("supply off by command", "to come"), ("message to phone", "to come"),
    ]  # fmt: skip
    assert status.steps[1].todo == "Has the test message to 'phone' arrived?"
    assert (status.wanted, status.required, status.due_utc) == (
        True, False, "2026-12-01T00:00:00+00:00",
    )  # fmt: skip


@pytest.fixture(autouse=True)
def no_thread_is_left():
    yield
    left = [thread for thread in threading.enumerate() if thread.name == "proof test"]
    for thread in left:
        thread.join(PATIENCE_S)
        assert not thread.is_alive()
