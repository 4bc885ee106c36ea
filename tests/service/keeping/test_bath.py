"""What persons enter of the bath: checked, kept with who asked, corrected by what is added."""

import os
import threading
from contextlib import ExitStack
from datetime import timedelta

import pytest

from daemon.api.errors import InputError
from daemon.api.socket.messages import BathEntryRequest
from daemon.bath import account
from daemon.bath.description import Additive, Description
from daemon.record import audits
from daemon.record.errors import NoSuchBathEntryError, NoSuchRunError, RecordOlderError
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.keeping.bath import BathKeeper, book_by

BATH = Description("bath A", volume_l=15.0, brim_l=16.0, additives=(Additive("brightener", 150.0),))
DOSE = {"kind": "dose", "amounts": {"brightener": 5.0, "volume": 0.005}}


class Rig:
    """A keeper over a real record."""

    def __init__(self, path, clock):
        self.path = path
        self.clock = clock
        self.writer = Writer(path, threaded=False, clock=clock)
        self.stack = ExitStack()
        self.keeper = self.of(BATH)

    def of(self, bath):
        """A keeper for another description."""
        read = book_by(self.path, bath, self.clock, self.stack)
        return BathKeeper(bath, self.writer, self.clock, read)

    def enter(self, **fields):
        return self.keeper.enter(BathEntryRequest(who="Ann", where="page", **fields))

    @property
    def entries(self):
        return self.writer.bath_entries("bath A")

    def audit(self):
        engine = open_reader(self.path)
        with engine.connect() as connection:
            found = [entry.act for entry in audits.page(connection)]
        engine.dispose()
        return found


@pytest.fixture
def rig(tmp_path, clock):
    rig = Rig(tmp_path / "record.sqlite", clock)
    yield rig
    rig.stack.close()
    rig.writer.close()


def test_an_entry_is_kept_with_its_time_and_who_asked(rig, clock):
    at_utc = clock.utc() - timedelta(hours=2)
    kept = rig.enter(**DOSE, at_utc=at_utc, note="by pipette")
    (entry,) = rig.entries
    assert (kept.number, kept.notes) == (entry.id, ())
    now_ms = round(clock.utc().timestamp() * 1000)
    made = entry.made
    assert (made.utc_ms, made.at_utc_ms) == (now_ms, now_ms - 7_200_000)
    assert (made.kind, made.who, made.note) == ("dose", "Ann", "by pipette")
    assert made.amounts == DOSE["amounts"]
    (act,) = rig.audit()
    assert (act.who, act.origin, act.what, act.detail, act.refused) == (
        "Ann", "page", "enter", "dose", None,
    )  # fmt: skip


REFUSED = [
    (
        {"kind": "dose", "amounts": {"leveller": 5.0}},
        "dose: leveller: no such additive; known: bri",
    ),
    ({"kind": "water", "amounts": {"volume": -1.0}}, "needs a volume above 0 L"),
    ({**DOSE, "corrects": 1}, "only a correction corrects"),
    ({**DOSE, "facts": None}, "only a correction corrects or withdraws"),
    ({"kind": "correction"}, "needs the number of the entry that it corrects"),
]


@pytest.mark.parametrize(("fields", "complaint"), REFUSED)
def test_what_cannot_be_is_refused_and_leaves_a_trace_in_the_audit_only(rig, fields, complaint):
    with pytest.raises(InputError) as refused:
        rig.enter(**fields)
    assert complaint in str(refused.value)
    assert rig.entries == ()
    (act,) = rig.audit()
    assert complaint in act.refused


def test_what_is_still_to_come_is_refused(rig, clock):
    with pytest.raises(InputError, match=r"at: 2026-11-25 00:01:00.* is still to come"):
        rig.enter(**DOSE, at_utc=clock.utc() + timedelta(minutes=1))


def test_a_run_that_is_not_there_is_refused(rig):
    with pytest.raises(NoSuchRunError, match="no run 3"):
        rig.enter(kind="appearance", facts={"looks": ["dull"]}, run=3)
    assert rig.entries == ()
    assert "no run 3" in rig.audit()[0].refused


def test_a_chain_of_corrections(rig):
    first = rig.enter(**DOSE).number
    rig.enter(kind="correction", corrects=first, amounts={"brightener": 7.0, "volume": 0.007})
    # Whichever of them is named, the newest is corrected.
    rig.enter(kind="correction", corrects=first, amounts={"brightener": 0.3, "volume": 0.0003})
    assert [entry.made.amounts for entry in rig.entries] == [
        {"brightener": 5.0, "volume": 0.005},
        {"brightener": 2.0, "volume": 0.002},
        {"brightener": -6.7, "volume": -0.0067},
    ]
    assert [entry.made.corrects_id for entry in rig.entries] == [None, 1, 2]
    assert account.balances(rig.entries) == {"brightener": 0.3, "volume": 0.0003}

    rig.enter(kind="correction", corrects=2, facts=None, note="it never was")
    assert account.holding(rig.entries) == ()
    with pytest.raises(InputError, match="entry 1: is withdrawn already"):
        rig.enter(kind="correction", corrects=first, facts=None)
    rig.enter(kind="correction", corrects=first, amounts={"brightener": 4.0, "volume": 0.004})
    assert account.balances(rig.entries) == {"brightener": 4.0, "volume": 0.004}


def test_a_correction_keeps_time_and_run(rig, clock):
    at_utc = clock.utc() - timedelta(days=3)
    first = rig.enter(**DOSE, at_utc=at_utc).number
    rig.enter(kind="correction", corrects=first, amounts={"brightener": 7.0, "volume": 0.007})
    assert len({entry.made.at_utc_ms for entry in rig.entries}) == 1
    with pytest.raises(InputError, match="withdraw that and enter it anew"):
        rig.enter(kind="correction", corrects=first, amounts=DOSE["amounts"], at_utc=at_utc)


@pytest.mark.parametrize(
    ("fields", "complaint"),
    [
        ({"amounts": DOSE["amounts"]}, "entry 1: says that already"),
        ({"amounts": {"brightener": -1.0}}, "needs one additive, above 0 mL"),
        ({"facts": None, "amounts": DOSE["amounts"]}, "what is withdrawn has no amounts"),
    ],
)
def test_a_correction_that_corrects_nothing(rig, fields, complaint):
    first = rig.enter(**DOSE).number
    with pytest.raises(InputError, match=complaint):
        rig.enter(kind="correction", corrects=first, **fields)
    assert len(rig.entries) == 1


def test_a_correction_of_nothing(rig):
    with pytest.raises(NoSuchBathEntryError, match="no entry 4"):
        rig.enter(kind="correction", corrects=4, facts=None)


def test_the_bath_is_described_when_it_is_another_than_the_last(rig, clock):
    rig.keeper.describe()
    rig.keeper.describe()
    rig.of(BATH).describe()
    assert [entry.made.kind for entry in rig.entries] == ["description"]
    bare = Description("bath A")
    rig.of(bare).describe()
    assert account.description_on(rig.entries) == bare
    assert len(rig.entries) == 2
    with pytest.raises(InputError, match="change the settings instead"):
        rig.enter(kind="correction", corrects=1, facts=None)
    # What the bath once knew may still be entered for the time when it did.
    rig.of(bare).enter(BathEntryRequest(who="Ann", **DOSE))


def test_a_level_above_the_brim_is_told(rig):
    rig.enter(kind="make-up", amounts={"volume": 15.5})
    kept = rig.enter(kind="water", amounts={"volume": 1.0})
    (note,) = kept.notes
    assert note.startswith("by the account the bath now has 16.5 L, and the brim is at 16 L")
    assert rig.enter(kind="water", amounts={"volume": 1.0}, facts={"level_l": 15.0}).notes == ()


def test_those_who_correct_at_once_do_not_undo_each_other(rig, mocker):
    """Each has the account to itself from reading it to what it adds."""
    first = rig.enter(**DOSE).number
    order = []
    read, keep = rig.writer.bath_entries, rig.writer.keep_bath_entry

    def reading(name):
        found = read(name)
        order.append("read")
        for _ in range(1000):
            os.sched_yield()  # let whoever waits have a turn
        return found

    def keeping(*made):
        order.append("keep")
        return keep(*made)

    mocker.patch.object(rig.writer, "bath_entries", reading)
    mocker.patch.object(rig.writer, "keep_bath_entry", keeping)
    together = threading.Barrier(4)

    def ask(amount_ml):
        together.wait()
        rig.enter(kind="correction", corrects=first, amounts={"brightener": amount_ml})

    askers = [threading.Thread(target=ask, args=(float(k),)) for k in range(6, 10)]
    for asker in askers:
        asker.start()
    for asker in askers:
        asker.join()
    assert order == ["read", "keep"] * 4
    (found,) = account.standing(read("bath A"))
    assert found.amounts["brightener"] in range(6, 10)


def test_what_is_due_is_known_from_the_start_and_after_each_entry(rig):
    rig.keeper.describe()
    (tally,) = rig.keeper.dues.tallies
    assert (tally.name, tally.open_ml) == ("brightener", 0.0)
    rig.clock.advance_to(rig.clock.now_s + 60)
    rig.enter(**DOSE)
    assert rig.keeper.dues.tallies[0].open_ml == -5.0


def test_an_entry_that_is_kept_is_told_even_if_the_record_cannot_be_read_after_it(rig, clock):
    def unreadable():
        raise RecordOlderError("no")

    keeper = BathKeeper(BATH, rig.writer, clock, unreadable)
    kept = keeper.enter(BathEntryRequest(who="Ann", **DOSE))
    assert kept.notes == ("what is due is shown as it was before: no",)
    assert [entry.id for entry in rig.entries] == [kept.number]
