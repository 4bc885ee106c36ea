"""The command line where no daemon runs: one clear error on stderr, and a code that is not 0."""

import getpass
import os
import socket

import pytest
from click.testing import CliRunner

from daemon.api.socket.messages import Answer, Status
from daemon.service.commands.cli import main

SETTINGS = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "b"\n'
ACTS = ["hold", "resume", "stop", "abort", "reset", "status"]


@pytest.fixture
def settings(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS)
    return path


def call(*words, env=None):
    """The exit code and what stood on stderr, line by line; stdout has to be empty."""
    result = CliRunner(env=env).invoke(main, [str(word) for word in words])
    assert result.stdout == ""
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stderr.splitlines()


@pytest.mark.parametrize("act", ACTS)
def test_without_a_daemon(settings, act):
    code, said = call(act, "--settings", settings)
    assert code == 1
    assert said == [f"tankhand: no daemon answers at {settings.parent}/control.sock: "
                    "No such file or directory"]  # fmt: skip


@pytest.mark.parametrize("act", ACTS)
def test_without_settings(tmp_path, act):
    code, said = call(act, "--settings", tmp_path / "none.toml")
    assert code == 2
    assert said == [f"tankhand: {tmp_path}/none.toml: cannot be read: No such file or directory"]


@pytest.mark.parametrize("words", [
    ("acknowledge",), ("acknowledge", 3), ("shelve", 3, "--for", "2 h"), ("unshelve", 3),
])  # fmt: skip
def test_acts_on_alarms_without_a_daemon(settings, words):
    code, said = call(*words, "--settings", settings)
    assert code == 1
    assert said[0].startswith(f"tankhand: no daemon answers at {settings.parent}/control.sock")


@pytest.mark.parametrize(("length", "why"), [
    ("2", "--for: expected a time such as"), ("2 A", "--for: expected a time such as"),
    ("0 s", "--for: must be more than 0 s"),
])  # fmt: skip
def test_a_shelf_without_a_proper_time(settings, length, why):
    code, said = call("shelve", 3, "--for", length, "--settings", settings)
    assert code == 2
    assert said[0].startswith(f"tankhand: {why}")


def test_settings_come_from_the_environment_too(tmp_path):
    code, said = call("status", env={"TANKHAND_SETTINGS": str(tmp_path / "env.toml")})
    assert code == 2
    assert "env.toml" in said[0]


def test_each_problem_of_the_settings_is_a_line(settings):
    settings.write_text('[supply]\nbaud = 5\n[bath]\nname = ""\n')
    code, said = call("status", "--settings", settings)
    assert code == 2
    assert len(said) == 3
    assert all(str(settings) in line for line in said)


def test_a_run_without_its_plan(settings, tmp_path):
    code, said = call("run", tmp_path / "none.toml", "--settings", settings)
    assert code == 2
    assert said == [f"tankhand: {tmp_path}/none.toml: cannot be read: No such file or directory"]


def test_a_check_of_a_plan_without_a_daemon(settings, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("")
    code, said = call("run", "--check", plan, "--settings", settings)
    assert code == 1
    assert said[0].startswith("tankhand: no daemon answers")


def test_a_run_with_a_plan_that_is_no_text(settings, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_bytes(b"\xff\xfe")
    code, said = call("run", plan, "--settings", settings)
    assert code == 2
    assert len(said) == 1
    assert "plan.toml: is not UTF-8" in said[0]


def test_a_person_without_a_name_is_still_told_apart(settings, mocker):
    mocker.patch.object(getpass, "getuser", side_effect=KeyError("uid not found"))
    asked = mocker.patch("daemon.api.socket.client.Client.ask", side_effect=SystemExit)
    call("hold", "--settings", settings)
    assert asked.call_args.args[0].who == f"user {os.getuid()}"


def test_what_has_to_be_known_of_a_start_is_told_beside_it(settings, mocker, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text("title = 'Plate'")
    late = "the run has started, but is not on the disk yet: database or disk is full"
    status = Status(
        state="running", utc="2026-11-25T00:00:00+00:00", monotonic_s=1.0, rate=1.0, current_a=0.0,
        voltage_v=0.0, reading_age_s=0.1, mode=None, output_on=True, supply="A,B,1,2", run=None,
        bath="b", bath_charge_ah=0.0,
    )  # fmt: skip
    answer = Answer(ok=True, status=status, warning=late)
    mocker.patch("daemon.api.socket.client.Client.ask", return_value=answer)
    result = CliRunner().invoke(main, ["run", str(plan), "--settings", str(settings)])
    assert (result.exit_code, result.stderr) == (0, f"tankhand: {late}\n")
    assert "Nothing is running" in result.stdout


def test_a_demo_whose_address_is_taken_says_so_before_anything_starts(tmp_path):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        listen = f"127.0.0.1:{taken.getsockname()[1]}"
        code, said = call("demo", "--listen", listen, "--keep", tmp_path)
    assert code == 1
    assert len(said) == 1
    assert f"tankhand: listen: {listen}: Address already in use" in said[0]
    assert "--listen" in said[0]
    assert list(tmp_path.iterdir()) == []


def test_a_demo_never_writes_over_settings_that_are_not_its_own(settings):
    with socket.create_server(("127.0.0.1", 0)) as free:
        listen = f"127.0.0.1:{free.getsockname()[1]}"
    code, said = call("demo", "--listen", listen, "--keep", settings.parent)
    assert code == 1
    assert said == [f"tankhand: {settings}: is not a demo's; give another folder with --keep"]
    assert settings.read_text() == SETTINGS


def test_a_plan_that_is_too_long_is_refused_before_it_is_sent(settings, tmp_path):
    plan = tmp_path / "long.toml"
    plan.write_text("#" * 300_000)
    code, said = call("run", plan, "--settings", settings)
    assert code == 2
    assert said == [f"tankhand: {plan}: 300000 characters, a plan has at most 50000"]
