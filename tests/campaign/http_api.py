"""The HTTP API, asked by its own OpenAPI document: all that it says, and much that it does not.

    .venv/bin/python tests/campaign/http_api.py --examples 100 --seed 1

schemathesis makes the requests: each value at its bounds and beyond them, methods that are not
there, other kinds of content, no token and wrong ones, at random and in chains. They go over HTTP
to the page as it is, and from there to a real daemon that drives a simulated tank: once with a
token that may all, once with one that may only look. What does not fit the document, an answer of
500, and a command that was accepted without the right to give it are defects. Exits with 1 on any.
"""

import argparse
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

import schemathesis
from rich.console import Console
from schemathesis.config import (
    CoveragePhaseConfig,
    ExamplesPhaseConfig,
    FuzzingPhaseConfig,
    GenerationConfig,
    PhasesConfig,
    ProjectConfig,
    ProjectsConfig,
    SchemathesisConfig,
    StatefulPhaseConfig,
)
from schemathesis.engine import events, from_schema
from waitress.server import create_server

from daemon.access.operators import operators_at
from daemon.access.tokens import TokenRight, Tokens, tokens_at
from daemon.api.listen import Listen
from daemon.record import audits
from daemon.record.store import open_reader
from web.__main__ import SERVER
from web.app import create_app

DOCUMENT = "/api/v1/openapi.json"
MANY = 10**9
"""Far more presses than are made here: how many are taken in a minute is tested elsewhere."""

FREE = {"stop", "abort", "hold"}
"""What is accepted from everybody."""


NOT_SAID_BY_SCHEMAS = {("POST /api/v1/commands/start", "positive_data_acceptance")}
"""A plan is a text with a grammar of its own: one that fits the schema may still be none."""


@dataclass
class Asked:
    """What was asked: requests by the status of their answers, and each defect in words."""

    statuses: Counter[int] = field(default_factory=Counter)
    defects: list[str] = field(default_factory=list)


@contextmanager
def serving(socket: Path, record: Path) -> Iterator[str]:
    """The page over HTTP, as on a network with an operator; neither presses nor tokens counted."""
    operators = operators_at(record)
    if not operators.exists():
        operators.write_text('{"operators": []}', encoding="utf-8")
        operators.chmod(0o600)
    with (
        mock.patch("web.api.routes.ACTS_A_MINUTE", f"{MANY} per minute"),
        mock.patch("web.gate.attempts.FROM_ONE", MANY),
    ):
        app = create_app(socket, record, Listen("0.0.0.0", 1, ("127.0.0.1",)))
        server = create_server(app, host="127.0.0.1", port=0, **SERVER)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{server.effective_port}"
        finally:
            server.close()
            thread.join(10)


def token(record: Path, right: TokenRight) -> str:
    """A new token with this right, called as the right is."""
    return Tokens(tokens_at(record)).add(right, right, time.time_ns() // 1_000_000)


def ask(
    address: str, shown: str, *, examples: int, seed: int, stateful: bool = False,
    only: str | None = None,
) -> Asked:  # fmt: skip
    """Have the page asked by its own document, by whoever has this token.

    examples: how many made-up requests of each kind there are for each operation, besides those at
    the bounds. only: the path of the operations that are asked, all if None.
    """
    headers = {"Authorization": f"Bearer {shown}"}
    project = ProjectConfig(
        headers=headers,
        continue_on_failure=True,
        generation=GenerationConfig(max_examples=max(examples, 1), no_shrink=True),
        phases=PhasesConfig(
            examples=ExamplesPhaseConfig(enabled=False),
            coverage=CoveragePhaseConfig(unexpected_methods={"PUT", "DELETE", "TRACE"}),
            fuzzing=FuzzingPhaseConfig(enabled=examples > 0),
            stateful=StatefulPhaseConfig(enabled=stateful),
        ),
    )
    config = SchemathesisConfig(seed=seed, projects=ProjectsConfig(default=project))
    schema = schemathesis.openapi.from_url(f"{address}{DOCUMENT}", config=config, headers=headers)
    if only is not None:
        schema = schema.include(path=only)
    asked = Asked()
    for event in from_schema(schema).execute():
        if isinstance(event, events.ScenarioFinished):
            _count(event, asked)
        elif isinstance(event, events.NonFatalError):
            asked.defects.append(f"{event.label}: {event.value!r}")
        elif isinstance(event, events.FatalError):
            raise event.exception
    return asked


def _count(event: Any, asked: Asked) -> None:
    for interaction in event.recorder.interactions.values():
        if interaction.response is not None:
            asked.statuses[interaction.response.status_code] += 1
    for checks in event.recorder.checks.values():
        for check in checks:
            known = (event.label, check.name) in NOT_SAID_BY_SCHEMAS
            if check.failure_info is not None and not known:
                failure = check.failure_info.failure
                told = f"{event.label}: {check.name}: {failure.title}: {failure.message}"
                asked.defects.append(f"{told}\n  {check.failure_info.code_sample}")


def accepted(record: Path, by: str) -> Counter[str]:
    """The commands of a token that the audit has as done, by their names."""
    engine = open_reader(record)
    try:
        with engine.connect() as connection:
            acts = [each.act for each in audits.page(connection, limit=10**6)]
    finally:
        engine.dispose()
    return Counter(act.what for act in acts if act.who == by and act.refused is None)


def main() -> int:
    """Ask the API over a real daemon; 1 on any defect."""
    reader = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    reader.add_argument("--examples", type=int, default=100, help="of each kind, per operation")
    reader.add_argument("--seed", type=int, default=1)
    wanted = reader.parse_args()
    # It stands beside this folder, and is the one way to a real daemon in tests.
    sys.path.insert(0, str(Path(__file__).parents[1] / "end_to_end"))
    from conftest import Daemon

    from drivers.simulator.process import SimulatorProcess

    console, defects = Console(), 0
    rate, origin_s = 20.0, time.monotonic()
    with (
        tempfile.TemporaryDirectory() as folder,
        SimulatorProcess(rate=rate, origin_s=origin_s) as tank,
    ):
        daemon = Daemon(Path(folder) / "tank", tank.port, rate, origin_s)
        record = daemon.folder / "record.sqlite"
        try:
            daemon.start().ready()
            with serving(daemon.folder / "control.sock", record) as address:
                for right in ("read", "acknowledge", "command"):
                    daemon.act("abort")
                    daemon.until_state("idle", "aborted", "stopped", "complete")
                    daemon.act("reset")
                    daemon.plate()
                    asked = ask(
                        address, token(record, right), examples=wanted.examples,
                        seed=wanted.seed, stateful=right == "command",
                    )  # fmt: skip
                    done = accepted(record, f"token {right}")
                    may = FREE | ({"acknowledge"} if right == "acknowledge" else set())
                    if right != "command" and set(done) - may:
                        asked.defects.append(f"accepted without a right: {set(done) - may}")
                    console.print(right, dict(asked.statuses), dict(done), len(asked.defects))
                    for told in asked.defects:
                        console.print("-", told, markup=False)
                    defects += len(asked.defects)
            daemon.act("abort")
            said = daemon.said()
            if "Traceback" in said:
                console.print(said, markup=False)
                defects += 1
        finally:
            daemon.kill_all()
    return 1 if defects else 0


if __name__ == "__main__":
    sys.exit(main())
