"""The pipes between guard and loop."""

import os
import threading

import pytest

from daemon.service import beat as beat_module
from daemon.service.beat import BeatReader, BeatSender, Ready, watch_lifeline

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


def test_the_lifeline_s_end_is_noticed(pipe):
    out, into = pipe
    over = threading.Event()
    watch_lifeline(out, over.set)
    os.write(into, b"not the end")
    assert not over.wait(0.05)
    os.close(into)
    assert over.wait(10)
