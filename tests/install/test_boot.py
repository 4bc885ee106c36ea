"""Lines for the machine's start: shown, and written only where a person has said so for each."""

import re
from pathlib import Path

import pytest

from install.boot import FIRMWARE, MANAGER, propose
from install.places import Places
from tests.install.conftest import ROOT, Tank

FIRST = "# mine\ndtparam=i2c_arm=on\n[cm5]\ndtoverlay=dwc2"


@pytest.fixture
def places(tmp_path: Path) -> Places:
    config = tmp_path / "boot" / "firmware" / "config.txt"
    config.parent.mkdir(parents=True)
    config.write_text(FIRST, encoding="utf-8")
    return Places(tmp_path)


def config_of(places: Places) -> Path:
    return places.at("/boot/firmware/config.txt")


def test_without_anybody_to_ask_it_is_text(
    places: Places, capsys: pytest.CaptureFixture[str]
) -> None:
    propose(places, None)
    said = capsys.readouterr().out
    assert f"{config_of(places)}: 1-Wire" in said
    assert "dtoverlay=w1-gpio,gpiopin=4" in said
    assert "RuntimeWatchdogSec=14" in said
    assert "i2c_arm" not in said  # it is there
    assert config_of(places).read_text(encoding="utf-8") == FIRST
    assert not places.at("/etc").exists()


def test_each_is_asked_for_and_only_what_was_said_yes_to_is_written(places: Places) -> None:
    answers = iter([True, False, True, True])
    propose(places, lambda _: next(answers))
    assert next(answers, None) is None
    assert config_of(places).read_text(encoding="utf-8") == (
        f"{FIRST}\n\n# tankhand: 1-Wire\n[all]\ndtoverlay=w1-gpio,gpiopin=4\n"
        "\n# tankhand: the hardware watchdog\n[all]\ndtparam=watchdog=on\n"
    )
    kept = config_of(places).with_name("config.txt.before-tankhand")
    assert kept.read_text(encoding="utf-8") == FIRST
    manager = places.at("/etc/systemd/system.conf.d/watchdog.conf")
    assert manager.read_text(encoding="utf-8") == "[Manager]\nRuntimeWatchdogSec=14\n"
    asked: list[str] = []
    propose(places, lambda question: bool(asked.append(question)))
    assert len(asked) == 1  # the serial port, which was not wanted


@pytest.mark.parametrize("place", ["system.conf", "system.conf.d/other.conf"])
def test_a_watchdog_that_is_set_already_is_left(
    places: Places, place: str, capsys: pytest.CaptureFixture[str]
) -> None:
    path = places.at(f"/etc/systemd/{place}")
    path.parent.mkdir(parents=True)
    path.write_text("[Manager]\nRuntimeWatchdogSec=10\n", encoding="utf-8")
    propose(places, None)
    assert "RuntimeWatchdogSec" not in capsys.readouterr().out
    path.write_text("[Manager]\n#RuntimeWatchdogSec=off\n", encoding="utf-8")
    propose(places, None)
    assert "RuntimeWatchdogSec=14" in capsys.readouterr().out


def test_a_machine_without_pins_and_watchdog_is_proposed_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    propose(Places(tmp_path), lambda _: True)
    assert capsys.readouterr().out == ""
    assert list(tmp_path.iterdir()) == []


def test_yes_to_everything_is_no_yes_to_these(
    tank: Tank, capsys: pytest.CaptureFixture[str]
) -> None:
    config = config_of(tank.places)
    config.parent.mkdir(parents=True)
    config.write_text(FIRST, encoding="utf-8")
    tank.install(tank.clone("1"), yes=True, ask=lambda _: True)
    assert config.read_text(encoding="utf-8") == FIRST
    assert "None of this was written" in capsys.readouterr().out
    assert not tank.places.at("/etc/systemd/system.conf.d").exists()


def test_the_documents_have_the_same_lines() -> None:
    text = "\n".join(path.read_text("utf-8") for path in (ROOT / "hardware").glob("*.md"))
    for proposal in (*FIRMWARE, MANAGER):
        for line in proposal.lines:
            assert re.search(rf"(^|`){re.escape(line)}($|`)", text, re.MULTILINE), line
        assert any(re.match(proposal.there, line) for line in proposal.lines)
