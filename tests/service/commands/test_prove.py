"""`tankhand prove` at a terminal: what it asks, what it prints, and how it ends."""

import pytest
from click.testing import CliRunner

from daemon.api.socket.client import DaemonUnreachableError
from daemon.api.socket.messages import Answer
from daemon.api.socket.proof import ProofEnd, ProofStatus, ProofStepStatus, ProofWalkStatus
from daemon.service.commands.cli import main

SETTINGS = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "b"\n'
LID = ProofStepStatus(
    name="interlock lid", happens="It holds.", todo="Open it.", expected="below 0.02 A"
)
SIREN = ProofStepStatus(name="siren", happens="It is on.", todo="Does it?", expected="it sounds")


def walk(step, states, **more):
    steps = (
        LID.model_copy(update={"state": states[0], "seen": "0.000 A after 0.4 s, then held"}),
        SIREN.model_copy(update={"state": states[1], "seen": "it does not"}),
    )
    return ProofWalkStatus(
        id=more.pop("id", "ab12"), who="ann", began_utc="2026-03-01T20:00:00+00:00", step=step,
        steps=steps, **more,
    )  # fmt: skip


OPEN = walk(0, ("under way", "to come"), todo="Open the loop of 'lid' now.")
ASKED = walk(1, ("passed", "under way"), question="Does the siren sound now?")


def over(how, states, **more):
    return walk(1, states, ended=ProofEnd(how=how, **more))


class Daemon:
    """Answers with one walk after the other; the last one stays."""

    def __init__(self, *walks):
        self.walks = list(walks)
        self.asked = []

    def ask(self, request):
        self.asked.append(request)
        if request.ask != "proof":
            return Answer(ok=True)
        shown = self.walks.pop(0) if len(self.walks) > 1 else self.walks[0]
        if isinstance(shown, BaseException):
            raise shown
        return Answer(
            ok=True,
            proof=ProofStatus(
                wanted=True, required=False, every_s=1.0, due_utc=None, overdue=None, steps=(),
                not_proved=(), refusal=None, walk=shown,
            ),
        )  # fmt: skip


@pytest.fixture
def prove(tmp_path, mocker):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS)
    mocker.patch("daemon.service.commands.prove.LOOK_S", 0.0)

    def run(daemon, typed="y\n", *options):
        if daemon is not None:
            mocker.patch("daemon.api.socket.client.Client.ask", side_effect=daemon.ask)
        words = ["prove", "--settings", str(path), *options]
        return CliRunner().invoke(main, words, input=typed)

    return run


def test_each_thing_is_told_and_asked_once(prove):
    daemon = Daemon(OPEN, OPEN, ASKED, ASKED, over("failed", ("passed", "failed"), kept=3))
    result = prove(daemon, "y\nn\n")
    said = result.stdout.splitlines()
    assert said.count("Open the loop of 'lid' now.") == 1
    assert "passed  interlock lid: 0.000 A after 0.4 s, then held" in said
    assert "FAILED  siren: it does not" in said
    assert sum("Does the siren sound now?" in line for line in said) == 1
    assert (result.exit_code, result.stderr) == (1, "tankhand: kept as failed: siren\n")
    begun, answered = (r for r in daemon.asked if r.ask != "proof")
    assert (begun.current_a, begun.ceiling_v, begun.where) == (0.2, 3.0, "command line")
    assert (answered.walk, answered.step, answered.yes) == ("ab12", 1, False)


def test_all_of_it_passed(prove):
    result = prove(Daemon(over("passed", ("passed", "passed"), kept=3)))
    assert (result.exit_code, result.stdout.splitlines()[-1]) == (0, "kept as passed: 2 steps")


@pytest.mark.parametrize(
    ("end", "said"),
    [
        (over("given up", ("passed", "not reached"), why="stop by Ben"),
         "the proof test ended early, and nothing is kept: stop by Ben"),
        (over("failed", ("failed", "not reached"), why="given up by Ann", kept=3),
         "kept as failed: interlock lid; it ended early: given up by Ann"),
        (DaemonUnreachableError("no daemon answers"),
         "the proof test ended early, and nothing is kept: no daemon answers"),
        (None, "the proof test ended early, and nothing is kept: "
               "the daemon has started anew meanwhile"),
        (walk(0, ("under way", "to come"), id="another"),
         "the proof test ended early, and nothing is kept: "
         "the daemon has started anew meanwhile"),
    ],
)  # fmt: skip
def test_it_ends_early(prove, end, said):
    result = prove(Daemon(OPEN, end))
    assert (result.exit_code, result.stderr) == (1, f"tankhand: {said}\n")


@pytest.mark.parametrize(
    "walks",
    [(OPEN, KeyboardInterrupt(), over("given up", ("not reached",) * 2, why="given up by ann")),
     (ASKED, over("given up", ("passed", "not reached"), why="given up by ann"))],
)  # fmt: skip
def test_whoever_interrupts_it_gives_it_up(prove, walks):
    """By Ctrl-C, or by an end of the input where an answer is wanted."""
    daemon = Daemon(*walks)
    result = prove(daemon, "y\n")
    assert result.exit_code == 1
    assert result.stderr.endswith("and nothing is kept: given up by ann\n")
    assert [r.walk for r in daemon.asked if r.ask == "end proof"] == ["ab12"]


def test_nothing_begins_without_a_yes(prove):
    daemon = Daemon(OPEN)
    assert prove(daemon, "n\n").exit_code == 1
    assert daemon.asked == []


def test_a_refusal_is_told(prove, mocker):
    refused = Answer(ok=False, error="proof test: one is under way, begun by Ben")
    mocker.patch("daemon.api.socket.client.Client.ask", return_value=refused)
    result = prove(None)
    assert result.stderr == "tankhand: proof test: one is under way, begun by Ben\n"


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("--current", "0.2", "--current: expected a current such as"),
     ("--current", "0 A", "--current: must be above 0 A, got '0 A'"),
     ("--ceiling", "3 A", "--ceiling: expected a voltage such as")],
)  # fmt: skip
def test_a_quantity_that_is_none_is_told_before_anything_is_asked(prove, option, value, said):
    result = prove(Daemon(OPEN), "y\n", option, value)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tankhand: {said}")
    assert "Begin?" not in result.stdout
