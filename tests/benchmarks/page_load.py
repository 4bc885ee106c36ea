"""Four connections that ask the page on this machine for all it has, one after the other, flat out.

`python page_load.py PORT SECONDS` prints how many answers came. Only loopback is ever asked.
"""

import http.client
import sys
import threading
import time

CONNECTIONS = 4
PATHS = ("/", "/status.json", "/chart.json?run=1&points=2000")
TIMEOUT_S = 30.0


def main(port: int, seconds: float) -> int:
    """Load the page; returns how many whole answers came."""
    end_s = time.monotonic() + seconds
    counts = [0] * CONNECTIONS

    def ask(number: int) -> None:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
        while time.monotonic() < end_s:
            connection.request("GET", PATHS[(counts[number] + number) % len(PATHS)])
            answer = connection.getresponse()
            answer.read()
            if answer.status != http.HTTPStatus.OK:
                raise http.client.HTTPException(f"{answer.status} {answer.reason}")
            counts[number] += 1
        connection.close()

    threads = [threading.Thread(target=ask, args=(n,)) for n in range(CONNECTIONS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(counts)


if __name__ == "__main__":
    sys.stdout.write(f"{main(int(sys.argv[1]), float(sys.argv[2]))}\n")
