"""`tankhand effects`: the table of a settings file, without a daemon."""

import pytest
from click.testing import CliRunner

from daemon.api.effects import rows
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.service.commands.cli import main
from daemon.service.commands.effects import drawn

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "b"
[[interlock]]
name = "agitation"
pin = 22
stop = "hold"
after = "1 min"
"""


@pytest.fixture
def call(tmp_path):
    path = tmp_path / "settings.toml"

    def run(text):
        path.write_text(text, encoding="utf-8")
        return CliRunner().invoke(main, ["effects", "--settings", str(path)])

    return run


def line(result, cause):
    """The cells of a cause's line."""
    (found,) = [each for each in result.stdout.splitlines() if each.strip().startswith(cause)]
    return found.removeprefix("  " + cause).split()


def test_each_cause_has_a_line_with_what_it_brings_about(call):
    result = call(SETTINGS)
    assert (result.exit_code, result.stderr) == (0, "")
    assert line(result, "short")[:3] == ["high", "abort", "at"]
    assert line(result, "interlock: agitation")[:4] == ["medium", "hold", "60", "s"]
    assert line(result, "clock stepped")[:3] == ["low", "nothing", "-"]
    assert "whether the machine has a network to set its clock by" in result.stdout
    assert len([each for each in result.stdout.splitlines() if each.startswith("  ")]) >= 31


def test_settings_that_cannot_be_used_are_told(call):
    result = call(SETTINGS.replace("1 min", "1"))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "interlock[1].after" in result.stderr


def test_a_narrow_terminal_shows_all_but_what_to_check():
    heads = [column.header for column in drawn(rows(DEFAULT_TABLE), check=False).columns]
    assert heads == ["cause", "priority", "stop", "after", "beacon", "siren", "tell"]
