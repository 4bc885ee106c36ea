"""Clients that follow the page at its own pace: `python page_crowd.py PORT SECONDS CLIENTS`.

Each asks as the page's script does: the changing part a second after the last answer, with the tag
of what it has, and the chart each 15 s. Prints a JSON object: the answers' times of both, s. Only
loopback is ever asked.
"""

import http.client
import json
import random
import sys
import threading
import time

PACE_S, CHART_S = 1.0, 15.0
"""As in web/static/page.js, and in the page for a clock that runs at its own rate."""

POINTS = (480, 600, 960)
"""Of a chart, as on screens of three widths."""

TIMEOUT_S = 30.0


class Follower:
    """One open page."""

    def __init__(self, port: int, number: int) -> None:
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=TIMEOUT_S)
        self._chart = f"/chart.json?run=1&points={POINTS[number % len(POINTS)]}"
        self._tag: str | None = None
        self.polls_s: list[float] = []
        self.charts_s: list[float] = []

    def follow(self, begin_s: float, end_s: float) -> None:
        """Ask from `begin_s` to `end_s` of the monotonic clock. Raises if an answer is none."""
        chart_s = begin_s + CHART_S * random.random()
        time.sleep(max(0.0, begin_s + PACE_S * random.random() - time.monotonic()))
        while time.monotonic() < end_s:
            tag = {"If-None-Match": self._tag} if self._tag else {}
            self.polls_s.append(self._ask("/status.json?zone=Europe/Berlin", tag))
            if time.monotonic() > chart_s:
                self.charts_s.append(self._ask(self._chart, {}))
                chart_s += CHART_S
            time.sleep(PACE_S)
        self._connection.close()

    def _ask(self, path: str, headers: dict[str, str]) -> float:
        asked_s = time.monotonic()
        self._connection.request("GET", path, headers=headers)
        answer = self._connection.getresponse()
        answer.read()
        took_s = time.monotonic() - asked_s
        if answer.status not in {http.HTTPStatus.OK, http.HTTPStatus.NOT_MODIFIED}:
            raise http.client.HTTPException(f"{path}: {answer.status} {answer.reason}")
        if path.startswith("/status"):
            self._tag = answer.headers["ETag"]
        return took_s


def main(port: int, seconds: float, clients: int) -> dict[str, list[float]]:
    """Have them all follow the page; the times of all answers, s."""
    begin_s = time.monotonic()
    followers = [Follower(port, number) for number in range(clients)]
    threads = [
        threading.Thread(target=follower.follow, args=(begin_s, begin_s + seconds))
        for follower in followers
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return {
        "polls": [each for follower in followers for each in follower.polls_s],
        "charts": [each for follower in followers for each in follower.charts_s],
    }


if __name__ == "__main__":
    port, seconds, clients = sys.argv[1:]
    sys.stdout.write(json.dumps(main(int(port), float(seconds), int(clients))) + "\n")
