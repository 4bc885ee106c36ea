"""The scripted peer fails a test when it should."""

import os

import pytest


def say(peer, data):
    end = os.open(peer.port, os.O_RDWR | os.O_NOCTTY)
    os.write(end, data)
    return end


def test_a_wrong_byte_is_seen(peer):
    with (
        pytest.raises(AssertionError, match="expected b'OUTP OFF"),
        peer.expects((b"OUTP OFF", b"")),
    ):
        os.close(say(peer, b"OUTP ON"))


def test_an_unused_exchange_is_seen(peer, mocker):
    mocker.patch(f"{type(peer).__module__}._GIVES_UP_AFTER_S", 0.02)
    with (
        pytest.raises(AssertionError, match="unused from 1 on: b'B'"),
        peer.expects((b"A", b""), (b"B", b"")),
    ):
        os.close(say(peer, b"A"))


def test_an_unread_reply_is_seen(peer):
    with pytest.raises(AssertionError), peer.expects((b"A", b"reply")):
        os.close(say(peer, b"A"))
    assert peer.unread_bytes() == len(b"reply")


def test_a_request_beyond_the_script_is_seen(peer):
    with pytest.raises(AssertionError, match="b'B'"), peer.expects((b"A", b"")):
        os.close(say(peer, b"AB"))
