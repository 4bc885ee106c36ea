"""What is put is in the record, or counted; whatever the disk does, `put` does not wait for it."""

import sqlite3
import threading
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, event

from daemon.record import queries
from daemon.record.entries import Sample, StageEnded
from daemon.record.errors import RecordIncompleteError
from daemon.record.series import samples
from daemon.record.store import open_reader
from daemon.record.writer import COMMIT_EVERY_S, Writer

Make = Callable[..., Any]


def put_all(writer: Writer, entries: list[Any]) -> None:
    for entry in entries:
        writer.put(entry)


def in_record(path: Path, question: Callable[..., Any], *arguments: Any) -> Any:
    engine = open_reader(path)
    with engine.connect() as connection:
        answer = question(connection, *arguments)
        answer = list(answer) if question is samples else answer
    engine.dispose()
    return answer


def test_a_run_is_in_the_record_as_it_was_put(
    writer: Writer, ask: Make, opened: Make, steady: Make, ended: Make
) -> None:
    put_all(writer, [opened(), *steady(130), ended(charge_ah=0.1295)])
    writer.flush()

    run = ask(queries.one_run, 1)
    assert (run.state, run.reason, run.charge_ah) == ("complete", "target reached", 0.1295)
    assert (run.bath, run.area_dm2, run.clock_synchronised) == ("bath A", 1.2, None)
    assert (run.gap_least_ah, run.gap_greatest_ah) == (0.001, 0.003)
    assert list(ask(lambda c: list(samples(c, 1, 0, 1e6)))) == steady(130)
    assert writer.unrecorded == 0


@pytest.mark.parametrize("seconds", [0.5, 59.5, 60, 60.5, 119.5, 120.5, 600, 600.5, 3599, 3700])
@pytest.mark.parametrize("commit_every", [20, 100_000])
def test_the_ledger_holds_the_charge_of_what_is_sealed(
    writer: Writer, ask: Make, opened: Make, steady: Make, ended: Make,
    seconds: float, commit_every: int,
) -> None:  # fmt: skip
    """A minute is sealed by the first sample after it; until then its charge is only live."""
    writer.put(opened())
    taken = steady(seconds)
    for begin in range(0, len(taken), commit_every):
        put_all(writer, taken[begin : begin + commit_every])
        writer.flush()

    sealed = [s for s in taken if s.elapsed_s // 60 < taken[-1].elapsed_s // 60]
    (bath,) = ask(queries.baths)
    assert bath.posted_ah == pytest.approx(sealed[-1].charge_ah if sealed else 0, abs=1e-9)
    assert bath.charge_ah == pytest.approx(taken[-1].charge_ah, abs=1e-9)

    last_ah = taken[-1].charge_ah + 0.0001  # the part-interval after the last reading
    writer.put(ended(charge_ah=last_ah))
    writer.flush()
    (bath,) = ask(queries.baths)
    assert (bath.posted_ah, bath.live_ah) == (pytest.approx(last_ah, abs=1e-9), 0.0)
    entries = ask(queries.ledger_entries, 1, limit=1000)
    assert sum(e.charge_ah for e in entries) == pytest.approx(last_ah, abs=1e-9)
    assert (entries[0].kind, entries[0].gap_least_ah, entries[0].gap_greatest_ah) == (
        "run ended", 0.001, 0.003,
    )  # fmt: skip
    assert list(ask(lambda c: list(samples(c, 1, 0, 1e6)))) == taken


def test_a_held_run_posts_nothing(writer: Writer, ask: Make, opened: Make) -> None:
    held = [Sample(1, float(t), 0.0, 0.3, 0.0, 0.25) for t in range(600)]
    put_all(writer, [opened(), *held])
    writer.flush()

    kinds = [(e.kind, e.charge_ah) for e in ask(queries.ledger_entries, 1)]
    assert kinds == [("charge", 0.25), ("opened", 0.0)]


def test_stages_and_events_are_there_with_their_figures(
    writer: Writer, ask: Make, opened: Make, noted: Make
) -> None:
    stage = StageEnded(1, 0, "strike", 0.0, 90.5, 0.012, "duration")
    put_all(writer, [opened(), stage, noted(1, "agitation off"), noted(None, "µm at start")])
    writer.flush()

    (found,) = ask(queries.stages, 1)
    assert (found.name, found.ended_s, found.charge_ah, found.ended_by) == (
        "strike", 90.5, 0.012, "duration",
    )  # fmt: skip
    (of_run,) = ask(queries.events, 1)
    assert (of_run.text, of_run.data) == ("agitation off", {"lid": True, "volts": 1.5})
    assert [e.text for e in ask(queries.events)] == ["µm at start", "agitation off"]


def test_events_are_committed_at_once(path: Path, noted: Make, told: Make) -> None:
    writer = Writer(path, commit_every_s=3600)
    committed = told("commit")
    writer.put(noted())

    assert committed.wait(30)
    writer.close()
    assert [e.text for e in in_record(path, queries.events)] == ["lid opened"]


def test_whoever_waits_for_the_disk_finds_what_was_put(path: Path, opened: Make) -> None:
    writer = Writer(path, commit_every_s=3600)
    assert writer.wait_until_kept(30)  # also where nothing waits
    writer.put(opened())
    assert writer.wait_until_kept(30)
    assert in_record(path, queries.one_run, 1).title == "four knobs"
    writer.close()


class VirtualWake(threading.Event):
    """Passes virtual time instead of waiting, with a reading each tenth of a second, until the end.

    `kicks` are the moments of something else than a reading, s: the writer is woken.
    """

    def __init__(self, end_s: float, kicks: tuple[float, ...] = ()) -> None:
        super().__init__()
        self.now_s, self.writer, self.over = 0.0, None, threading.Event()
        self._began = threading.Event()
        self._end_s, self._kicks, self._tenths = end_s, list(kicks), 0

    def begin(self, writer: Writer) -> None:
        self.writer = writer
        self._began.set()

    def wait(self, timeout: float | None = None) -> bool:
        assert self._began.wait(30)
        if self.passes(self.now_s + (timeout or 0.0)):
            return True
        if self.now_s < self._end_s:
            return False
        self.over.set()
        return super().wait(30)

    def passes(self, until_s: float) -> bool:
        """Let time pass until then; whether something came between."""
        while self.now_s < min(until_s, self._end_s):
            self.now_s = min((self._tenths + 1) / 10, until_s)
            if self.now_s == (self._tenths + 1) / 10:
                self._tenths += 1
                self.writer.put(Sample(1, self.now_s, 3.6, 1.25, 3.6, self.now_s / 1000))
            if self._kicks and self.now_s >= self._kicks[0]:
                self._kicks.pop(0)
                return True
        return False


@pytest.fixture
def commits_of(path: Path, opened: Make) -> Iterator[Callable[..., list[float]]]:
    """When the commits of a writer begin, in virtual s, on a disk that needs `takes_s` for each."""
    hooks: list[Callable[[object], None]] = []

    def run(wake: VirtualWake, takes_s: float, every_s: float = 1.0) -> list[float]:
        begun: list[float] = []

        def commit(_: object) -> None:
            if threading.current_thread().name == "record writer" and not wake.over.is_set():
                begun.append(wake.now_s)
                wake.passes(wake.now_s + takes_s)

        hooks.append(commit)
        event.listen(Engine, "commit", commit)
        writer = Writer(path, commit_every_s=every_s, real_s=lambda: wake.now_s, wake=wake)
        writer.put(opened())
        wake.begin(writer)
        assert wake.over.wait(30)
        writer.close()
        return begun

    yield run
    for hook in hooks:
        event.remove(Engine, "commit", hook)


def test_commits_begin_on_a_grid_whatever_each_takes(
    commits_of: Callable[..., list[float]],
) -> None:
    assert commits_of(VirtualWake(5.5), 0.07) == pytest.approx([1.0, 2.0, 3.0, 4.0, 5.0])


def test_a_power_cut_costs_less_than_a_second_of_readings(
    commits_of: Callable[..., list[float]],
) -> None:
    takes_s, period_s = 0.07, 0.1
    begun = commits_of(VirtualWake(9.5), takes_s, COMMIT_EVERY_S)
    # The last reading that is kept was taken at most a period before its commit began.
    worst_s = max(later - before for before, later in pairwise([0.0, *begun]))
    assert worst_s + takes_s + period_s < 1.0


def test_an_event_is_committed_at_once_and_does_not_put_off_what_follows(
    commits_of: Callable[..., list[float]],
) -> None:
    begun = commits_of(VirtualWake(4.5, kicks=(1.4, 1.7)), 0.07)
    assert begun == pytest.approx([1.0, 1.4, 1.7, 2.0, 3.0, 4.0], abs=0.11)


def test_a_commit_that_takes_longer_than_a_period_is_followed_by_the_next_at_once(
    commits_of: Callable[..., list[float]],
) -> None:
    assert commits_of(VirtualWake(6.0), 1.6) == pytest.approx([1.0, 2.6, 4.2, 5.8])


def test_closing_brings_everything_to_the_file(path: Path, opened: Make, steady: Make) -> None:
    writer = Writer(path, commit_every_s=3600)
    put_all(writer, [opened(), *steady(10)])
    writer.close()
    writer.close()

    log = path.with_name("record.db-wal")
    assert not log.exists() or log.stat().st_size == 0
    assert in_record(path, samples, 1, 0, 1e6) == steady(10)
    assert "record writer" not in {t.name for t in threading.enumerate()}


def test_what_finds_no_room_is_counted_and_told(
    path: Path, opened: Make, steady: Make, ended: Make
) -> None:
    writer = Writer(path, capacity=10, threaded=False)
    taken = steady(20)
    put_all(writer, [opened(), *taken[:24]])
    assert writer.unrecorded == 15  # nine found room beside the run's opening
    writer.flush()
    put_all(writer, taken[24:26])
    writer.flush()
    put_all(writer, [*taken[26:], ended(charge_ah=0.02)])
    writer.close()

    assert writer.unrecorded == 15 + 4
    gaps = [e for e in in_record(path, queries.events) if e.kind == "record_gap"]
    assert [(g.run_id, g.data) for g in gaps] == [
        (1, {"samples": 4, "from_s": 18.0, "to_s": 19.5}),
        (1, {"samples": 15, "from_s": 4.5, "to_s": 11.5}),
    ]
    assert "15 samples from 4.50 s to 11.50 s are not in the record" in gaps[1].text
    assert in_record(path, samples, 1, 0, 1e6) == taken[:9] + taken[24:36]
    # No event is dropped, and the charge is whole, since it is counted before it is recorded.
    assert in_record(path, queries.one_run, 1).state == "complete"
    assert in_record(path, queries.baths)[0].posted_ah == pytest.approx(0.02)


@pytest.fixture
def stalled_disk() -> Iterator[threading.Event]:
    """Commits stop until the event is set, as they do on a card that is busy with itself."""
    go_on = threading.Event()

    def stall(connection: object) -> None:
        if threading.current_thread().name == "record writer":
            go_on.wait(60)

    event.listen(Engine, "commit", stall)
    yield go_on
    event.remove(Engine, "commit", stall)


def test_a_stalled_disk_does_not_stop_the_loop(
    path: Path, stalled_disk: threading.Event, opened: Make, steady: Make
) -> None:
    now_s = [0.0]
    writer = Writer(path, capacity=50, commit_every_s=0.001, real_s=lambda: now_s[0])
    put_all(writer, [opened(), *steady(100)])
    now_s[0] = 7.0

    assert writer.unrecorded > 0
    assert writer.lag_s == 7.0
    assert not writer.wait_until_kept(0.001)
    with pytest.raises(RecordIncompleteError, match=r"within 0\.001 s"):
        writer.close(timeout_s=0.001)
    stalled_disk.set()
    writer.close()

    kept = in_record(path, samples, 1, 0, 1e6)
    assert kept == steady(100)[: len(kept)]
    assert len(kept) + writer.unrecorded == 200


@pytest.fixture
def filled(path: Path, small_disk: Callable[[int], None], opened: Make, steady: Make) -> Writer:
    """A writer whose disk is full, with 300 s to be written after 50 s that are there."""
    writer = Writer(path, threaded=False)
    put_all(writer, [opened(), *steady(50)])
    assert writer.flush()
    small_disk(1)
    put_all(writer, steady(300, from_s=50))
    return writer


def test_a_full_disk_is_a_fault_until_there_is_room(
    path: Path, filled: Writer, small_disk: Callable[[int], None], steady: Make, ended: Make
) -> None:
    writer = filled
    assert not writer.flush()
    assert writer.fault == "database or disk is full"
    put_all(writer, steady(100, from_s=350))
    assert not writer.flush()
    small_disk(1_000_000)
    assert writer.flush()
    assert writer.fault is None
    writer.put(ended(charge_ah=0.45))
    writer.close()

    assert in_record(path, samples, 1, 0, 1e6) == steady(450)
    assert in_record(path, queries.baths)[0].posted_ah == pytest.approx(0.45)
    (told,) = in_record(path, queries.events)
    assert told.text == "the disk takes entries again; it had refused: database or disk is full"


def test_closing_on_a_full_disk_says_what_is_lost(path: Path, filled: Writer, steady: Make) -> None:
    with pytest.raises(RecordIncompleteError, match=r"disk is full; 600 entries are lost"):
        filled.close()
    assert in_record(path, samples, 1, 0, 1e6) == steady(50)
    Writer(path, threaded=False).close()


def test_a_disk_that_refuses_once_while_the_record_is_closed_loses_nothing(
    path: Path, filled: Writer, small_disk: Callable[[int], None], steady: Make
) -> None:
    def mend(_: object) -> None:
        small_disk(1_000_000)

    event.listen(Engine, "handle_error", mend)
    filled.close()
    event.remove(Engine, "handle_error", mend)

    assert in_record(path, samples, 1, 0, 1e6) == steady(350)
    (told,) = in_record(path, queries.events)
    assert told.text == "the disk takes entries again; it had refused: database or disk is full"


def test_a_disk_that_refuses_every_byte_more_is_a_fault(path: Path, child: Make) -> None:
    """The kernel's own limit on a file's size: a write that fails in the middle of a commit."""
    process = child(
        """
        import resource, signal, sys
        from pathlib import Path
        from daemon.record.entries import Noted
        from daemon.record.writer import Writer
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        writer = Writer(Path(sys.argv[1]), threaded=False)
        writer.put(Noted(None, "note", "before", 0, 0.0, {}))
        assert writer.flush()
        unlimited = resource.getrlimit(resource.RLIMIT_FSIZE)
        size = Path(sys.argv[1] + "-wal").stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 100, unlimited[1]))
        writer.put(Noted(None, "note", "meanwhile", 0, 0.0, {}))
        print(writer.flush(), writer.fault)
        resource.setrlimit(resource.RLIMIT_FSIZE, unlimited)
        print(writer.flush(), writer.fault)
        writer.close()
        """,
        path,
    )
    output, _ = process.communicate()

    assert process.returncode == 0
    refused, accepted = output.splitlines()
    assert refused in {"False disk I/O error", "False database or disk is full"}
    assert accepted == "True None"
    assert [e.text for e in in_record(path, queries.events)][1:] == ["meanwhile", "before"]


def test_a_record_locked_by_another_process_is_a_fault_until_it_is_free(
    path: Path, writer: Writer, ask: Make, opened: Make, steady: Make
) -> None:
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    put_all(writer, [opened(), *steady(5)])

    assert not writer.flush()
    assert writer.fault == "database is locked"
    other.execute("ROLLBACK")
    other.close()
    assert writer.flush()
    assert writer.fault is None
    assert list(ask(lambda c: list(samples(c, 1, 0, 1e6)))) == steady(5)


def test_the_thread_tries_again_by_itself(
    path: Path, opened: Make, steady: Make, told: Make
) -> None:
    writer = Writer(path, commit_every_s=0.001, busy_timeout_ms=0)
    refused, committed = told("handle_error"), told("commit")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    put_all(writer, [opened(), *steady(5)])
    assert refused.wait(30)
    assert not writer.wait_until_kept(0.001)
    committed.clear()
    other.execute("ROLLBACK")
    other.close()

    assert committed.wait(30)
    writer.close()
    assert in_record(path, samples, 1, 0, 1e6) == steady(5)


def test_an_error_nobody_foresaw_is_a_fault_and_loses_nothing(
    writer: Writer, ask: Make, opened: Make, steady: Make, mocker: Any
) -> None:
    failing = mocker.patch("daemon.record.recorder.encode", side_effect=MemoryError("no room"))
    put_all(writer, [opened(), *steady(5)])
    assert not writer.flush()
    assert writer.fault == "MemoryError: no room"
    mocker.stop(failing)

    assert writer.flush()
    assert list(ask(lambda c: list(samples(c, 1, 0, 1e6)))) == steady(5)


def test_lag_is_the_age_of_what_waits(path: Path, noted: Make) -> None:
    now_s = [10.0]
    writer = Writer(path, threaded=False, real_s=lambda: now_s[0])
    now_s[0] = 15.0
    assert writer.lag_s == 0.0
    writer.flush()
    writer.put(noted())
    now_s[0] = 17.5
    assert writer.lag_s == 2.5
    writer.flush()
    assert writer.lag_s == 0.0
    writer.close()


def test_a_reading_that_is_no_number_is_recorded_as_not_read(
    writer: Writer, ask: Make, opened: Make
) -> None:
    nan, endless = float("nan"), float("inf")
    sound = [Sample(1, float(t), 1.0, 2.0, 1.0, t / 1000) for t in range(100)]
    put_all(writer, [opened(), *sound[:61]])
    writer.put(Sample(1, 60.2, nan, endless, 1.0, 0.06))
    writer.put(Sample(1, nan, 1.0, 1.0, 1.0, 0.06))
    writer.put(Sample(1, 60.4, 1.0, 1.0, 1.0, nan))
    put_all(writer, sound[61:])
    writer.flush()

    kept = list(ask(lambda c: list(samples(c, 1, 0, 1e6))))
    assert kept == [*sound[:61], Sample(1, 60.2, None, None, 1.0, 0.06), *sound[61:]]
    assert writer.unrecorded == 2
    (told,) = ask(queries.events)
    assert (told.kind, "beyond all bounds" in told.text) == ("record_refused", True)


def test_an_entry_that_fits_nowhere_does_not_hold_up_the_others(
    writer: Writer, ask: Make, opened: Make, steady: Make, ended: Make, noted: Make
) -> None:
    put_all(
        writer,
        [opened(), opened(), *steady(3), *steady(2, run_id=9), noted(9), noted(None, "\ud800")],
    )
    put_all(writer, [ended(9), ended(charge_ah=float("nan")), ended(state=None), noted(1)])
    writer.flush()
    put_all(writer, [*steady(2, from_s=3), ended(charge_ah=0.005)])
    writer.flush()

    texts = [e.text for e in ask(queries.events)]
    assert texts[0] == "lid opened"
    assert [text.split("(")[0] for text in texts[1:]] == [
        "not recorded: RunEnded", "not recorded: RunEnded", "not recorded: RunEnded",
        "not recorded: Noted", "not recorded: Noted", "not recorded: RunOpened",
    ]  # fmt: skip
    assert writer.unrecorded == 4  # those of a run that was never opened
    assert list(ask(lambda c: list(samples(c, 1, 0, 1e6)))) == steady(5)
    assert ask(queries.one_run, 1).charge_ah == 0.005
