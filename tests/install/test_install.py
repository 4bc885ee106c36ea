"""Installing for the first time, again, and what is refused before anything is changed."""

import fcntl
import os
import stat
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args

import pytest
from pytest_mock import MockerFixture

from daemon.api.socket.messages import StateName, StatusRequest
from daemon.service.settings.file import read_settings
from install import asking
from install.__main__ import install, main, uninstall
from install.errors import InstallError
from install.machine import Machine
from install.preparing import tools
from tests.install.conftest import AT_REST, ROOT, Tank


def test_the_first_time(tank: Tank, capsys: pytest.CaptureFixture[str]) -> None:
    tank.program("getent", "exit 2")
    tank.program("id", "exit 1")
    clone = tank.clone("1")
    tank.install(clone)
    etc, state = tank.places.etc, tank.places.state
    assert tank.calls == [
        "groupadd --system dialout",
        "groupadd --system gpio",
        "useradd --system --user-group --no-create-home --home-dir /var/lib/tankhand"
        " --shell /usr/sbin/nologin tankhand",
        "usermod --append --groups dialout tankhand",
        "usermod --append --groups gpio tankhand",
        f"chown root:tankhand {etc}",
        f"chown tankhand:tankhand {state}",
        f"chown tankhand:tankhand {state}/backups",
        f"chown root:tankhand {etc}/settings.toml",
        "systemctl daemon-reload",
        "udevadm control --reload",
        "udevadm trigger --subsystem-match=hwmon --subsystem-match=gpio",
    ]
    assert tank.in_use == tank.release(clone).name
    for name, place in (
        ("tankhand.service", "systemd/system"),
        ("90-tankhand.rules", "udev/rules.d"),
    ):
        there = tank.places.at(f"/etc/{place}/{name}")
        assert there.read_bytes() == (clone / "hardware" / name).read_bytes()
    assert str(tank.places.command.readlink()) == "/opt/tankhand/current/venv/bin/tankhand"
    modes = [stat.S_IMODE(path.stat().st_mode) for path in (etc, state, tank.places.settings)]
    assert modes == [0o750, 0o750, 0o640]
    assert not tank.is_up
    said = capsys.readouterr().out
    assert "was not started" in said
    assert "fill in" in said


def test_what_it_says_before_is_what_it_does(tank: Tank) -> None:
    clone = tank.clone("1")
    with pytest.raises(InstallError, match="nobody to ask: --yes"):
        tank.install(clone, yes=False)
    asked: list[str] = []

    def no(question: str) -> bool:
        asked.append(question)
        return False

    with pytest.raises(InstallError, match="nothing was changed"):
        tank.install(clone, yes=False, ask=no)
    assert asked == ["\nDo this?"]
    assert tank.calls == []
    assert not tank.places.current.is_symlink()
    assert not tank.places.etc.exists()


def test_a_second_time_there_is_nothing_to_do(
    running: Tank, capsys: pytest.CaptureFixture[str]
) -> None:
    running.install(running.folder / "clone-1", yes=False)
    assert running.calls == []
    assert "there is nothing to do" in capsys.readouterr().out
    running.status = AT_REST | {"state": "running"}
    running.install(running.folder / "clone-1", yes=False)
    assert running.calls == []


def test_what_is_missing_is_put_right_and_settings_are_never_written_over(running: Tank) -> None:
    written = running.places.settings.read_text(encoding="utf-8")
    running.places.rules.unlink()
    running.places.backups.rmdir()
    running.install(running.folder / "clone-1")
    assert running.places.rules.is_file()
    assert running.places.backups.is_dir()
    assert running.places.settings.read_text(encoding="utf-8") == written
    assert running.is_up


def test_the_example_of_settings_is_one(tmp_path: Path) -> None:
    example = read_settings(ROOT / "hardware" / "settings.toml")
    assert str(example.record.path) == "/var/lib/tankhand/record.sqlite"
    assert str(example.daemon.socket) == "/run/tankhand/control.sock"


def test_the_rules_shown_are_among_those_installed() -> None:
    rules = (ROOT / "hardware" / "90-tankhand.rules").read_text(encoding="utf-8").splitlines()
    shown = (ROOT / "hardware" / "channels.md").read_text(encoding="utf-8").splitlines()
    assert [one for one in shown if one.startswith("SUBSYSTEM")] == rules[3:4]
    for rule in (one for one in rules if one and not one.startswith("#")):
        # What is looked for comes before what is done, and both are there.
        looks = ["==" in clause for clause in rule.split(", ")]
        assert looks == sorted(looks, reverse=True)
        assert len(set(looks)) == 2


BUSY: list[tuple[dict[str, Any], str]] = [
    *(({"state": name}, f"a run is under way (state '{name}')") for name in ("running", "held")),
    ({"proving": "hold"}, "a proof test is under way (hold)"),
    ({"pumps": [{"runs": False}, {"runs": True}]}, "a dosing pump runs"),
]


@pytest.mark.parametrize(("status", "said"), BUSY)
def test_a_busy_daemon_is_left_alone(running: Tank, status: dict[str, Any], said: str) -> None:
    before = running.in_use
    clone = running.clone("2")
    running.status = AT_REST | status
    with pytest.raises(InstallError) as refused:
        running.install(clone)
    assert str(refused.value).startswith(said)
    with pytest.raises(InstallError) as refused:
        uninstall(running.site(clone), None)
    assert str(refused.value).startswith(said)
    assert (running.calls, running.in_use, running.is_up) == ([], before, True)


@pytest.mark.parametrize("age_s", [None, 10.5])
def test_a_daemon_that_does_not_read_its_supply_is_not_replaced(
    running: Tank, age_s: float | None
) -> None:
    clone = running.clone("2")
    running.status = AT_REST | {"reading_age_s": age_s}
    with pytest.raises(InstallError, match=r"does not read the supply.*is it switched on\?"):
        running.install(clone)
    assert running.calls == []
    running.status = AT_REST | {"reading_age_s": 100.0, "rate": 20.0}  # 5 s of a faster clock
    running.install(clone)
    uninstall(running.site(clone), None)  # for that it need not


def test_a_run_that_begins_while_packages_are_fetched_is_left_alone(
    running: Tank, mocker: MockerFixture
) -> None:
    clone = running.clone("2")

    def begin(*_: object) -> None:
        running.status = AT_REST | {"state": "running"}

    mocker.patch("install.__main__.check_settings", begin)
    before = running.in_use
    with pytest.raises(InstallError, match="a run is under way"):
        running.install(clone)
    assert (running.calls, running.in_use, running.is_up) == ([], before, True)


def test_a_run_that_begins_while_it_is_asked_is_left_alone(running: Tank) -> None:
    site = running.site(running.folder / "clone-1", yes=False)

    def begin(question: str) -> bool:
        running.status = AT_REST | {"state": "running"}
        return True

    with pytest.raises(InstallError, match="a run is under way"):
        uninstall(site, begin)
    assert running.calls == []
    assert running.places.current.exists()


def test_a_daemon_without_an_answer_is_told(running: Tank) -> None:
    clone = running.clone("2")
    running.status = None
    with pytest.raises(InstallError, match="not known whether a run is under way") as refused:
        running.install(clone)
    assert "systemctl stop tankhand" in str(refused.value)
    assert running.calls == []


def test_a_daemon_that_is_not_the_service_is_told(running: Tank) -> None:
    clone = running.clone("2")
    running.service("inactive")
    with running.places.settings.open("rb") as held:  # as its guard does
        fcntl.flock(held, fcntl.LOCK_EX)
        with pytest.raises(InstallError, match="a daemon runs that is not the service"):
            running.install(clone)
    assert running.calls == []


def test_it_knows_every_state_and_asks_as_the_daemon_is_asked() -> None:
    known = set(get_args(StateName))
    assert {"idle", "stopped", "aborted", "complete"} == asking.AT_REST  # DEVELOPERS.md, States
    assert known > asking.AT_REST
    assert StatusRequest.model_validate_json(asking.QUESTION) == StatusRequest()


def test_settings_that_are_no_toml_are_told_before_anything(running: Tank) -> None:
    clone = running.clone("2")
    running.places.settings.write_text("[supply\n", encoding="utf-8")
    with pytest.raises(InstallError, match=r"settings\.toml: cannot be read: .* line 1"):
        running.install(clone)
    assert running.calls == []


def test_another_ones_command_is_left_alone(tank: Tank) -> None:
    tank.places.command.parent.mkdir(parents=True)
    tank.places.command.write_text("", encoding="utf-8")
    with pytest.raises(InstallError, match="is there and not ours"):
        tank.install(tank.clone("1"))
    assert tank.calls == []


def test_a_python_that_the_pins_library_is_not_ready_made_for_builds_it(
    tank: Tank, monkeypatch: pytest.MonkeyPatch
) -> None:
    tank.program("apt-get", "")
    machine = Machine()
    assert tools(machine, (3, 12)) == []
    monkeypatch.setattr("shutil.which", {"swig": None, "gcc": "/usr/bin/gcc"}.get)
    (step,) = tools(machine, (3, 13))
    assert "swig" in step.text
    step.act()
    assert tank.calls == [
        "apt-get update -qq",
        "apt-get install -y -qq --no-install-recommends swig gcc libc6-dev python3-dev",
    ]


def test_a_full_disk_is_told_before(tank: Tank, mocker: MockerFixture) -> None:
    clone = tank.clone("1")
    (tank.release(clone).folder / "whole").unlink()
    mocker.patch("shutil.disk_usage", return_value=mocker.Mock(free=100e6))
    with pytest.raises(InstallError, match="100 MB are free, a release wants 700 MB"):
        tank.install(clone)


def test_a_python_in_somebodys_home_is_refused(tank: Tank) -> None:
    site = replace(tank.site(tank.clone("1")), python=Path("/home/anna/.local/bin/python3"))
    with pytest.raises(InstallError, match="where the service may not look"):
        install(site, None)
    assert tank.calls == []


def test_it_needs_root_and_systemd(
    tank: Tank, mocker: MockerFixture, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    for command in ("install", "uninstall"):
        mocker.patch("os.geteuid", return_value=1000)
        assert main([command, "--yes"]) == 1
        assert "put sudo before it" in capsys.readouterr().err
        mocker.patch("os.geteuid", return_value=0)
        mocker.patch("install.__main__.BOOTED", tank.folder / "none")
        assert main([command, "--yes"]) == 1
        assert "systemd does not run this system" in capsys.readouterr().err
        mocker.patch("install.__main__.BOOTED", tank.folder)
        with monkeypatch.context() as without:
            without.setenv("PATH", os.devnull)
            assert main([command, "--yes"]) == 1
        assert "systemd does not run this system" in capsys.readouterr().err
    assert tank.calls == []
