"""The teller: failures, retries, a full queue, hanging addresses, and its end."""

import subprocess
import sys
import threading
from datetime import time

import pytest

from daemon.api.errors import InputError
from daemon.clock import SystemClock
from daemon.control.protection import causes
from daemon.control.protection.alarms import NO_ALARMS, Sign, advanced
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.states import State
from daemon.service.telling.recipients import Pace, Recipient, Rules
from daemon.service.telling.tank import Current, Tank
from daemon.service.telling.tell_settings import TellingTable, TellTable
from daemon.service.telling.teller import CAPACITY, Teller, make_teller
from tests.receiver import GUARD_S

HANGING = """\
import sys

from daemon.clock import SystemClock
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.states import State
from daemon.service.telling.tank import Current, Tank
from daemon.service.telling.tell_settings import TellingTable, TellTable
from daemon.service.telling.teller import make_teller

table = TellTable.model_validate({"name": "phone", "address": sys.argv[1]})
telling = TellingTable.model_validate({"timeout": "60 s"})
teller = make_teller([table], telling, DEFAULT_TABLE, "Tank 1", SystemClock())
for state in (State.RUNNING, State.COMPLETE):
    teller.hear([], (), Tank(state, Current.OFF, 7, "lamp foot", 25.0, 25.0))
sys.stdin.readline()
teller.close(0.1)
"""
"""A daemon that ends when it is told to, with an address that takes a minute to fail."""

PACE = Pace(retry_s=10.0, longest_retry_s=60.0, failed_after_s=300.0)
PLATING = Tank(State.RUNNING, Current.ON, 7, "lamp foot", 18.24, 25.0)


def raised(cause, seen="9.2 A at 0.1 V"):
    changes = []
    alarms = advanced(NO_ALARMS, [Sign(cause, seen)], DEFAULT_TABLE, 0.0, changes)
    return changes, alarms.standing


class TestFailures:
    def test_pauses_double_up_to_the_longest(self, new_night):
        night = new_night(pace=PACE)
        night.refuses["phone"] = "connection refused"
        night.comes(causes.SHORT)
        tried = []
        for second in range(300):
            night.passes(s=1, step_s=1.0)
            if night.tries["phone"] > len(tried) + 1:
                tried.append(second + 1)
        assert tried == [10, 30, 70, 130, 190, 250]

    def test_what_gets_through_at_last_is_what_is_true_by_then(self, new_night):
        night = new_night(pace=PACE, rules=Rules(repeat_s=600.0))
        night.refuses["phone"] = "connection refused"
        night.comes(causes.BATH_HOT)
        night.passes(min=30)
        night.comes(causes.SHORT)
        night.is_now(State.ABORTED, Current.OFF)
        del night.refuses["phone"]
        night.passes(min=2)
        assert night.titles() == ["Tank 1: Short. The current is off. And 2 more."]

    def test_after_a_failure_nothing_is_lost_and_nothing_is_told_twice(self, new_night):
        night = new_night(pace=PACE)
        night.refuses["phone"] = "HTTP 503"
        night.comes(causes.WHISKER)
        del night.refuses["phone"]
        night.passes(min=10)
        assert night.titles() == ["Tank 1: Whisker. The current is on."]

    def test_failing_is_said_after_the_time_that_is_allowed_and_until_one_gets_through(
        self, new_night
    ):
        night = new_night(pace=PACE)
        assert night.teller.failing is None
        night.refuses["phone"] = "connection refused"
        night.comes(causes.SHORT)
        night.passes(s=300)
        assert night.teller.failing is None
        night.passes(s=30)
        assert night.teller.failing == (
            "phone has taken no message for 6 min: connection refused"
        )  # 330 s are 5.5 min
        del night.refuses["phone"]
        night.passes(s=60)
        assert night.teller.failing is None

    def test_the_way_is_tried_although_nothing_is_left_to_tell(self, new_night):
        night = new_night(pace=PACE)
        night.refuses["phone"] = "connection refused"
        night.comes(causes.SHORT)
        night.acknowledged()
        night.passes(min=10)
        assert night.teller.failing is not None
        del night.refuses["phone"]
        night.passes(min=2)
        assert night.teller.failing is None
        assert night.titles() == ["Tank 1: Messages get through again. The current is on."]

    def test_one_address_that_fails_leaves_the_others_alone(self, new_night):
        night = new_night([Recipient("phone"), Recipient("mail")], pace=PACE)
        night.refuses["phone"] = "connection refused"
        night.comes(causes.SHORT)
        night.passes(min=10)
        assert night.titles("phone") == []
        assert len(night.titles("mail")) == 1
        assert "mail" not in night.teller.failing

    def test_one_that_never_answers_counts_as_failing(self, new_night):
        night = new_night(pace=PACE)
        night.teller.hear(*raised(causes.SHORT), PLATING)
        night.teller.turn()  # handed over, and nobody sends it
        night.clock.now_s += 400.0
        assert night.teller.failing == "phone has taken no message for 7 min: no answer yet"


class TestHearing:
    def test_a_full_queue_holds_nobody_up_and_the_newest_counts(self, new_night):
        night = new_night()
        night.teller.hear([], (), Tank(State.COMPLETE, Current.OFF, 7, "lamp foot", 25.0, 25.0))
        changes, standing = raised(causes.SHORT)
        for number in range(CAPACITY - 1):
            night.teller.hear(
                [], (), Tank(State.RUNNING, Current.ON, 8, "key fob", number / 100, 25.0)
            )
        night.teller.hear(
            changes, standing, Tank(State.RUNNING, Current.UNKNOWN, 8, "key fob", 9.0, 25.0)
        )
        night.turn()
        # The end of the run before was the oldest, and was let go.
        assert night.titles() == ["Tank 1: Short. Whether current flows is not known."]

    def test_what_is_not_new_costs_nothing(self, new_night):
        night = new_night()
        for _ in range(3 * CAPACITY):
            night.teller.hear([], (), night.tank)
        night.comes(causes.SHORT)
        assert len(night.titles()) == 1

    def test_before_anything_was_heard_nothing_is_told(self):
        got = []
        teller = Teller(
            [(Recipient("phone"), got.append)], Rules(summary=time(0)), PACE, DEFAULT_TABLE, "T",
            SystemClock(), threaded=False,
        )  # fmt: skip
        teller.turn()
        teller.work()
        assert got == []


def test_the_end_looks_once_more_at_what_was_heard(new_night):
    night = new_night()
    night.teller.hear([], (), Tank(State.STOPPED, Current.OFF, 7, "lamp foot", 18.24, 25.0))
    night.teller.close(0.0)
    night.teller.work()
    assert night.titles() == ["Tank 1: Stopped: lamp foot, 18.2 of 25 µm. The current is off."]


class TestThreads:
    """Real threads: a send that waits for an event stands for an address that hangs."""

    @pytest.fixture
    def new_teller(self):
        tellers = []

        def make(**sends):
            recipients = [(Recipient(name), send) for name, send in sends.items()]
            teller = Teller(recipients, Rules(), PACE, DEFAULT_TABLE, "Tank 1", SystemClock())
            tellers.append(teller)
            return teller

        yield make
        for teller in tellers:
            teller.close(GUARD_S)

    def test_an_address_that_hangs_holds_up_neither_the_loop_nor_the_others(self, new_teller):
        hangs, release, got = threading.Event(), threading.Event(), threading.Event()

        def hang(letter):
            hangs.set()
            release.wait(GUARD_S)

        teller = new_teller(phone=hang, mail=lambda _: got.set())
        teller.hear(*raised(causes.SHORT), PLATING)
        assert hangs.wait(GUARD_S)
        assert got.wait(GUARD_S)
        teller.hear([], (), PLATING)
        release.set()

    def test_the_end_leaves_a_hanging_address_behind(self, new_teller):
        hangs, release = threading.Event(), threading.Event()

        def hang(letter):
            hangs.set()
            release.wait(GUARD_S)

        teller = new_teller(phone=hang)
        teller.hear(*raised(causes.SHORT), PLATING)
        assert hangs.wait(GUARD_S)
        teller.close(0.0)
        assert not release.is_set()
        assert "telling phone" in {thread.name for thread in threading.enumerate()}
        release.set()

    def test_the_end_tells_what_has_happened_last(self, new_teller):
        got = []
        teller = new_teller(phone=got.append)
        teller.hear([], (), PLATING)
        teller.hear([], (), Tank(State.STOPPED, Current.OFF, 7, "lamp foot", 18.24, 25.0))
        teller.close(GUARD_S)
        assert [letter.title for letter in got] == [
            "Tank 1: Stopped: lamp foot, 18.2 of 25 µm. The current is off."
        ]

    @pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
    def test_a_thread_that_has_died_is_failing(self, new_teller):
        class DyingError(Exception):
            pass

        dying = threading.Event()

        def die(letter):
            dying.set()
            raise DyingError

        teller = new_teller(phone=die)
        teller.hear(*raised(causes.SHORT), PLATING)
        assert dying.wait(GUARD_S)
        for thread in threading.enumerate():
            if thread.name == "telling phone":
                thread.join(GUARD_S)
        assert teller.failing == "phone: the thread that sends has died"


class TestOverTheWire:
    def table(self, **more):
        return TellTable.model_validate({"name": "phone", **more})

    def test_an_alarm_arrives(self, receiver):
        teller = make_teller(
            [self.table(address=receiver.address)], TellingTable(), DEFAULT_TABLE, "Tank 1",
            SystemClock(),
        )  # fmt: skip
        teller.hear(*raised(causes.SHORT), PLATING)
        arrived = receiver.arrived.get(timeout=GUARD_S)
        teller.close(GUARD_S)
        assert arrived["title"] == "Tank 1: Short. The current is on."
        assert "9.2 A at 0.1 V" in arrived["message"]
        assert arrived["type"] == "failure"

    def test_refused_once_and_then_taken(self, receiver):
        receiver.answers.put(503)
        telling = TellingTable.model_validate({"retry": "1 ms", "longest_retry": "1 ms"})
        teller = make_teller(
            [self.table(address=receiver.address)], telling, DEFAULT_TABLE, "Tank 1", SystemClock()
        )
        teller.hear(*raised(causes.SHORT), PLATING)
        first = receiver.arrived.get(timeout=GUARD_S)
        second = receiver.arrived.get(timeout=GUARD_S)
        teller.close(GUARD_S)
        assert first["title"] == second["title"]
        assert receiver.arrived.empty()

    def test_a_process_ends_although_an_address_hangs(self, receiver):
        receiver.answers.put("hang")
        with subprocess.Popen(
            [sys.executable, "-c", HANGING, receiver.address], stdin=subprocess.PIPE
        ) as process:
            receiver.arrived.get(timeout=GUARD_S)
            process.communicate(b"\n", timeout=GUARD_S)
        assert process.returncode == 0
        assert not receiver.release.is_set()

    def test_nobody_to_tell(self):
        assert make_teller([], TellingTable(), DEFAULT_TABLE, "Tank 1", SystemClock()) is None

    def test_wrong_addresses_are_one_clear_error_and_stay_secret(self):
        tables = [
            self.table(address="json://127.0.0.1/ok"),
            TellTable.model_validate({"name": "boss", "address": "nosuch://s3cret@host"}),
            TellTable.model_validate({"name": "ben", "address": "mailto://s3cret@"}),
        ]
        with pytest.raises(InputError) as caught:
            make_teller(
                tables, TellingTable(), DEFAULT_TABLE, "Tank 1", SystemClock(), "settings.toml"
            )
        assert str(caught.value).splitlines()[0] == (
            "settings.toml: tell[2].address (boss): nothing can be sent there: its kind, before "
            "://, is not known, or what follows is not whole"
        )
        assert str(caught.value).splitlines()[1].startswith("settings.toml: tell[3].address (ben)")
        assert "s3cret" not in str(caught.value)
