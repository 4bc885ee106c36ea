"""Somebody who means the page no good: garbage, half requests and clients that dawdle, all at once.

    .venv/bin/python tests/campaign/attack.py 127.0.0.1:8080

Sends until it is ended; what it sends is drawn from `--seed`. Nothing of it carries a token, so
that nothing of it may act. Says at its end, on SIGTERM, how many it has sent and what came back.
"""

import argparse
import random
import signal
import socket
import sys
import threading
import time
from collections import Counter
from contextlib import suppress

SENDERS, DAWDLERS = 6, 24
PAUSE_S = 0.05
"""Real s from one request of a sender to its next: the machine has other things to do as well."""

ACTS = ("act/start", "act/hold", "act/stop", "act/reset", "alarms/acknowledge", "bath/enter/water")
PATHS = ("/", "/status.json", "/chart.json", "/details", "/bath", "/alarm/1", "/audit", "/nowhere")


def garbage(dice):
    """Bytes that no browser sends, or that none should."""
    path = dice.choice(PATHS) + "?" + "".join(chr(dice.randrange(33, 127)) for _ in range(20))
    act = f"/{dice.choice(ACTS)}"
    body = dice.randbytes(dice.randrange(2000))
    head = f"Host: 127.0.0.1\r\nContent-Length: {len(body)}\r\n"
    return dice.choice(
        (
            dice.randbytes(dice.randrange(1, 3000)),
            b"GET / HTTP/1.1\r\n" + b"X: " + b"a" * 20_000 + b"\r\n\r\n",
            f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n".encode(),
            f"GET {path} HTTP/1.1\r\nHost: elsewhere\r\n\r\n".encode(),
            f"POST {act} HTTP/1.1\r\n{head}\r\n".encode() + body,
            f"POST {act} HTTP/1.1\r\n{head}Origin: http://elsewhere\r\n\r\n".encode() + body,
            f"POST {act} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: -1\r\n\r\n".encode(),
            f"POST {act} HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 999999999\r\n\r\n".encode(),
            f"POST {act} HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n"
            "ffffffff\r\n".encode(),
        )
    )


class Attack:
    """All of it on one address, until it is told to end."""

    def __init__(self, address, seed):
        self._address, self._seed = address, seed
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self.answers = Counter()

    def run(self):
        """Send from as many threads as there are clients; what came back, by its first line."""
        clients = [self._send] * SENDERS + [self._dawdle] * DAWDLERS
        threads = [
            threading.Thread(target=client, args=(random.Random(f"{self._seed}:{number}"),))
            for number, client in enumerate(clients)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        return self.answers

    def end(self, *_):
        self._stop.set()

    def _note(self, what):
        with self._lock:
            self.answers[what] += 1

    def _send(self, dice):
        while not self._stop.wait(PAUSE_S):
            try:
                with socket.create_connection(self._address, timeout=2.0) as connection:
                    connection.sendall(garbage(dice))
                    if dice.random() < 0.7:
                        self._note(connection.recv(64).split(b"\r\n")[0].decode("latin-1")[:24])
            except OSError as error:
                self._note(type(error).__name__)

    def _dawdle(self, dice):
        """A byte now and then, of a request that never ends."""
        while not self._stop.wait(PAUSE_S):
            with suppress(OSError), socket.create_connection(self._address, timeout=2.0) as slow:
                self._note("dawdled")
                slow.sendall(b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n")
                until_s = time.monotonic() + dice.uniform(1.0, 20.0)
                while time.monotonic() < until_s and not self._stop.wait(1.0):
                    slow.sendall(b"X")


def main():
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("address", help="HOST:PORT of the page")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    host, _, port = asked.address.rpartition(":")
    attack = Attack((host, int(port)), asked.seed)
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, attack.end)
    for what, times in sorted(attack.run().items()):
        sys.stdout.write(f"{times:6d} {what}\n")


if __name__ == "__main__":
    main()
