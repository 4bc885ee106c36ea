"""Connections that ask the page on this machine for all it has, one after the other, flat out.

`python page_load.py PORT SECONDS [CONNECTIONS]` prints how many answers came; there are four
connections unless it is told otherwise. Only loopback is ever asked.
"""

import http.client
import sys
import time
from concurrent.futures import ThreadPoolExecutor

CONNECTIONS = 4
PATHS = ("/", "/status.json", "/chart.json?run=1&points=2000")
TIMEOUT_S = 30.0


def main(port: int, seconds: float, connections: int = CONNECTIONS) -> int:
    """Load the page; returns how many whole answers came. Raises if one did not."""
    end_s = time.monotonic() + seconds

    def ask(number: int) -> int:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
        count = 0
        while time.monotonic() < end_s:
            connection.request("GET", PATHS[(number + count) % len(PATHS)])
            answer = connection.getresponse()
            answer.read()
            if answer.status != http.HTTPStatus.OK:
                raise http.client.HTTPException(f"{answer.status} {answer.reason}")
            count += 1
        connection.close()
        return count

    with ThreadPoolExecutor(connections) as threads:
        return sum(threads.map(ask, range(connections)))


if __name__ == "__main__":
    answers = main(int(sys.argv[1]), float(sys.argv[2]), *map(int, sys.argv[3:4]))
    sys.stdout.write(f"{answers}\n")
