"""Points taken from a daemon whose every word is written here."""

from collections.abc import Callable, Iterator
from typing import Any

import pytest

from daemon.api.calibration.comparison import NoPointError, Taken, take
from daemon.api.socket.messages import MeterStatus, Status
from daemon.chemistry.calibration import Point


def word(
    monotonic_s: float, read_s: float, raw_a: float | None, *, on: bool = True, name: str = "shunt"
) -> Status:
    meter = MeterStatus(
        name=name,
        counts=True,
        current_a=None if raw_a is None else raw_a / 2,
        raw_current_a=raw_a,
        voltage_v=None,
        age_s=monotonic_s - read_s,
    )
    return Status(
        state="running",
        utc="2026-11-25T00:00:00+00:00",
        monotonic_s=monotonic_s,
        rate=1.0,
        current_a=None,
        voltage_v=None,
        reading_age_s=None,
        mode=None,
        output_on=on,
        supply="supply",
        run=None,
        bath="bath",
        bath_charge_ah=0.0,
        meters=(meter,),
    )


def taken(words: Iterator[Status] | list[Status], seconds: float = 2.0, **more: Any) -> Taken:
    following = iter(words)
    return take(lambda: next(following), more.get("meter", "shunt"), seconds, lambda _: None)


def test_each_new_reading_counts_once() -> None:
    """Readings at 10.5, 11.5, 12.5 s; looked at four times each, and the oldest is from before."""
    readings = {9.5: 7.0, 10.5: 1.0, 11.5: 1.2, 12.5: 1.4}
    words = []
    for k in range(13):
        now_s = 10.0 + k * 0.25
        read_s = max(t for t in readings if t <= now_s)
        words.append(word(now_s, read_s, readings[read_s]))
    found = taken(words, seconds=2.5)

    # Mean 1.2 A, s = 0.2 A, over √3.
    assert found == Taken(pytest.approx(1.2), pytest.approx(0.2 / 3**0.5), 3, output_on=True)


def test_the_time_is_the_daemons_own() -> None:
    """A simulated tank's hour passes between two looks."""
    words = [word(3600.0 * k, 3600.0 * k - 0.01, 1.0 + k) for k in range(4)]
    assert taken(words, seconds=60.0).readings == 2


def test_with_the_output_off_the_reference_is_not_asked() -> None:
    off = Taken(0.004, 1e-4, 20, output_on=False)
    assert off.point((0.02, 1e-3)) == Point(0.004, 1e-4, 0.0, 0.0)
    on = Taken(1.004, 1e-4, 20, output_on=True)
    assert on.point((1.0, 1e-3)) == Point(1.004, 1e-4, 1.0, 1e-3)


def steady(**changes: Any) -> Iterator[Status]:
    k = 0
    while True:
        fields = {key: make(k) for key, make in changes.items()}
        yield word(10.0 + k / 10, fields.pop("read_s", 10.0 + k / 10), **{"raw_a": 1.0, **fields})
        k += 1


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"read_s": lambda _: 9.9}, "shunt gave 0 new readings in 11 s"),
        ({"read_s": lambda k: min(10.1, 10 + k / 10)}, "gave 1 new readings"),
        ({"raw_a": lambda _: None}, "gave 0 new readings"),
        ({"on": lambda k: k < 5}, "output was switched"),
        ({"name": lambda _: "supply"}, "no meter is called 'shunt'; meters .*: supply"),
    ],
)
def test_why_there_is_no_point(changes: dict[str, Callable[[int], Any]], said: str) -> None:
    with pytest.raises(NoPointError, match=said):
        taken(steady(**changes))
