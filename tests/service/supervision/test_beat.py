"""The pipes between guard and loop."""

import os
import threading
from contextlib import suppress

import pytest

from daemon.service.supervision import beat as beat_module
from daemon.service.supervision.beat import BeatReader, BeatSender, Ready, watch_lifeline

READY = Ready(0.5, "/run/ünïcode.sock", "/var/r.sqlite", None, "A,B,1,2")


@pytest.fixture
def pipe():
    out, into = os.pipe()
    yield out, into
    for fd in (out, into):
        try:
            os.close(fd)
        except OSError:
            continue


def test_ready_arrives_whole_before_the_beats(pipe):
    out, into = pipe
    sender, reader = BeatSender(into), BeatReader(out)
    sender.ready(READY)
    sender.beat()
    assert reader.take()
    assert reader.ready == READY
    os.close(into)
    assert not reader.take()


def test_ready_in_pieces_is_put_together(pipe):
    out, into = pipe
    reader = BeatReader(out)
    whole_out, whole_in = os.pipe()
    BeatSender(whole_in).ready(READY)
    data = os.read(whole_out, 65536)
    os.close(whole_out)
    os.close(whole_in)
    for i in range(len(data)):
        assert reader.ready is None
        os.write(into, data[i : i + 1])
        assert reader.take()
    assert reader.ready == READY


def test_the_pipe_s_end_is_the_loop_s(pipe):
    out, into = pipe
    reader = BeatReader(out)
    BeatSender(into).beat()
    os.close(into)
    assert reader.take() is True
    assert reader.take() is False


def test_beats_that_follow_too_fast_are_one(pipe, monkeypatch):
    out, into = pipe
    now = [100.0]
    monkeypatch.setattr(beat_module.time, "monotonic", lambda: now[0])
    sender = BeatSender(into)
    for _ in range(1000):
        sender.beat()
    now[0] += 0.02
    sender.beat()
    assert os.read(out, 65536) == b".."


def test_a_full_pipe_holds_nobody_up(pipe, monkeypatch):
    _, into = pipe
    now = [100.0]
    monkeypatch.setattr(beat_module.time, "monotonic", lambda: now[0])
    sender = BeatSender(into)
    for _ in range(200_000):
        now[0] += 1.0
        sender.beat()


def test_a_dead_guard_holds_nobody_up(pipe):
    out, into = pipe
    os.close(out)
    sender = BeatSender(into)
    sender.ready(READY)
    sender.beat()


def test_without_a_guard_nothing_is_sent():
    sender = BeatSender(None)
    sender.ready(READY)
    sender.beat()


# The question whether the guard's own way works.


@pytest.fixture
def answers():
    """The pipe back; its ends are closed by whoever has closed them or at the end."""
    out, into = os.pipe()
    yield out, into
    for fd in (out, into):
        with suppress(OSError):
            os.close(fd)


def asked(reader):
    """The next question that a guard reads."""
    while True:
        assert reader.take()
        if reader.question:
            return reader.question


def answering(pipe, answers, *texts):
    """A guard that answers one question after the other; `{}` stands for its letter."""
    reader = BeatReader(pipe[0])

    def answer():
        for text in texts:
            os.write(answers[1], text.format(asked(reader).decode()).encode())

    guard = threading.Thread(target=answer)
    guard.start()
    return guard


@pytest.fixture
def sender(pipe, answers):
    sender = BeatSender(pipe[1], answers[0])
    sender.ready(READY)
    return sender


def test_a_way_that_works_and_one_that_does_not(pipe, answers, sender):
    guard = answering(pipe, answers, "{}\n", "{}no such port: ünïcode\n")
    assert sender.prove() is None
    assert sender.prove() == "no such port: ünïcode"
    guard.join()


def test_an_answer_in_pieces_is_put_together(pipe, answers, sender, monkeypatch):
    read = os.read
    monkeypatch.setattr(beat_module.os, "read", lambda fd, _: read(fd, 1))
    guard = answering(pipe, answers, "{}no such port\n")
    assert sender.prove() == "no such port"
    guard.join()


def test_a_late_answer_is_not_taken_for_the_next_one(pipe, answers, sender, monkeypatch):
    monkeypatch.setattr(beat_module, "PROOF_LIMIT_S", 0.0)
    assert "the guard did not answer within 0 s" in sender.prove()
    late = asked(BeatReader(pipe[0]))
    os.write(answers[1], late + b"\n")
    monkeypatch.setattr(beat_module, "PROOF_LIMIT_S", 60.0)
    guard = threading.Thread(
        target=lambda: os.write(answers[1], os.read(pipe[0], 100) + b"it is broken\n")
    )
    guard.start()
    assert sender.prove() == "it is broken"
    guard.join()


def test_a_guard_that_is_stopped_does_not_answer(pipe, sender, monkeypatch):
    monkeypatch.setattr(beat_module, "PROOF_LIMIT_S", 0.01)
    assert "the guard did not answer" in sender.prove()


def test_a_dead_guard_proves_nothing(pipe, answers, sender):
    os.close(answers[1])
    assert sender.prove() == "the guard is dead"


def test_a_question_among_beats_is_heard_and_so_are_they(pipe):
    out, into = pipe
    reader = BeatReader(out)
    BeatSender(into).ready(READY)
    os.write(into, b"..A.")
    assert reader.take()
    assert (reader.ready, reader.beaten, reader.question) == (READY, True, b"A")
    os.write(into, b"B")
    assert reader.take()
    assert (reader.beaten, reader.question) == (False, b"B")
    os.write(into, b".")
    assert reader.take()
    assert (reader.beaten, reader.question) == (True, b"")


def test_without_a_guard_there_is_nothing_to_prove():
    assert BeatSender(None).prove() is None


def test_the_lifeline_s_end_is_noticed(pipe):
    out, into = pipe
    over = threading.Event()
    watch_lifeline(out, over.set)
    os.write(into, b"not the end")
    assert not over.wait(0.05)
    os.close(into)
    assert over.wait(10)
