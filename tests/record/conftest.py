"""A record in a temporary directory, and entries to put in it."""

import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from subprocess import PIPE, Popen
from textwrap import dedent
from typing import Any

import pytest
from sqlalchemy import Engine, event

from daemon.record.entries import AlarmRaised, Noted, Reckoning, RunEnded, RunOpened, Sample
from daemon.record.store import open_reader
from daemon.record.writer import Writer


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "record.db"


@pytest.fixture
def writer(path: Path) -> Iterator[Writer]:
    """A writer without a thread: the test says when to commit."""
    made = Writer(path, threaded=False, busy_timeout_ms=0)
    yield made
    made.close()


@pytest.fixture
def reader(writer: Writer, path: Path) -> Iterator[Engine]:
    engine = open_reader(path)
    yield engine
    engine.dispose()


@pytest.fixture
def ask(reader: Engine) -> Callable[..., object]:
    """Ask one question on a connection of its own."""

    def asked(question: Callable[..., object], *args: object, **named: object) -> object:
        with reader.connect() as connection:
            return question(connection, *args, **named)

    return asked


@pytest.fixture
def look(path: Path) -> Callable[..., object]:
    """Ask one question of the file, whoever writes it."""

    def looked(question: Callable[..., object], *args: object, **named: object) -> object:
        engine = open_reader(path)
        try:
            with engine.connect() as connection:
                return question(connection, *args, **named)
        finally:
            engine.dispose()

    return looked


@pytest.fixture
def opened() -> Callable[..., RunOpened]:
    def make(
        run_id: int = 1, bath: str = "bath A", reckoning: Reckoning | None = None
    ) -> RunOpened:
        return RunOpened(
            run_id=run_id,
            bath=bath,
            title="four knobs",
            plan="title = 'four knobs'",
            metal="Cu(II)",
            area_dm2=1.2,
            target_um=25.0,
            who="operator",
            utc_ms=1_700_000_000_000,
            monotonic_s=100.0,
            boot_id="boot",
            clock_synchronised=None,
            reckoning=reckoning,
        )

    return make


@pytest.fixture
def ended() -> Callable[..., RunEnded]:
    def make(run_id: int = 1, charge_ah: float = 0.0, **changes: object) -> RunEnded:
        values: dict[str, object] = {
            "state": "complete",
            "reason": "target reached",
            "utc_ms": 1_700_000_900_000,
            "elapsed_s": 900.0,
            "running_s": 890.0,
            "gap_least_ah": 0.001,
            "gap_greatest_ah": 0.003,
            "mass_g": 0.4,
            "thickness_um": 25.1,
        }
        return RunEnded(run_id=run_id, charge_ah=charge_ah, **(values | changes))  # type: ignore[arg-type]

    return make


@pytest.fixture
def noted() -> Callable[..., Noted]:
    def make(run_id: int | None = None, text: str = "lid opened") -> Noted:
        return Noted(run_id, "note", text, 1_700_000_100_000, 200.0, {"lid": True, "volts": 1.5})

    return make


@pytest.fixture
def raised() -> Callable[..., AlarmRaised]:
    def make(number: int = 1, run_id: int | None = None, **changes: object) -> AlarmRaised:
        values: dict[str, object] = {
            "cause": "short",
            "priority": "high",
            "seen": "0.21 V at 3.600 A",
            "figures": {"voltage_v": 0.21, "current_a": 3.6},
            "utc_ms": 1_700_000_030_000,
            "monotonic_s": 130.0,
            "boot_id": "boot",
        }
        return AlarmRaised(number=number, run_id=run_id, **(values | changes))  # type: ignore[arg-type]

    return make


@pytest.fixture
def steady() -> Callable[..., list[Sample]]:
    """Samples of 3.6 A, which is 1 mA·h each second, `per_s` a second, from `from_s` on."""

    def make(
        seconds: float, *, from_s: float = 0.0, per_s: int = 2, run_id: int = 1
    ) -> list[Sample]:
        times = [from_s + k / per_s for k in range(round(seconds * per_s))]
        return [Sample(run_id, t, 3.6, 1.25, 3.6, t / 1000) for t in times]

    return make


@pytest.fixture
def child() -> Iterator[Callable[..., Popen[str]]]:
    """Run a script in a process of its own, with pipes to its stdin and stdout."""
    started: list[Popen[str]] = []

    def start(script: str, *arguments: object) -> Popen[str]:
        command = [sys.executable, "-c", dedent(script), *map(str, arguments)]
        started.append(Popen(command, stdin=PIPE, stdout=PIPE, text=True))
        return started[-1]

    yield start
    for process in started:
        process.kill()
        process.communicate()


@pytest.fixture
def told() -> Iterator[Callable[[str], threading.Event]]:
    """An event that is set whenever a database engine tells of something."""
    listeners: list[tuple[str, Callable[[object], None]]] = []

    def tell(of: str) -> threading.Event:
        happened = threading.Event()

        def listener(_: object) -> None:
            happened.set()

        event.listen(Engine, of, listener)
        listeners.append((of, listener))
        return happened

    yield tell
    for of, listener in listeners:
        event.remove(Engine, of, listener)


@pytest.fixture
def small_disk() -> Iterator[Callable[[int], None]]:
    """Lets a record have so many pages: SQLite then says what it says on a full disk."""
    connections: list[Any] = []

    def connected(connection: Any, _: object) -> None:
        connections.append(connection)

    def limit(pages: int) -> None:
        for connection in connections:
            connection.execute(f"PRAGMA max_page_count={pages}")

    event.listen(Engine, "connect", connected)
    yield limit
    event.remove(Engine, "connect", connected)
