"""`tankhand settings`: what a settings file says, without a daemon."""

import pytest
from click.testing import CliRunner

from daemon.service.commands.cli import main

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "b"
[[interlock]]
name = "lid"
pin = 22
stop = "hold"
"""


@pytest.fixture
def call(tmp_path):
    path = tmp_path / "settings.toml"

    def run(text, *options):
        path.write_text(text, encoding="utf-8")
        return CliRunner().invoke(main, ["settings", *options, "--settings", str(path)])

    return run


def test_each_setting_has_its_value_and_defaults_are_marked(call):
    result = call(SETTINGS)
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    loop = lines.index("[loop]")
    assert lines[loop + 1] == "  period: 100 ms (default)"
    assert "[[interlock]] lid" in lines
    assert "  pin: 22" in lines
    assert lines[-1].startswith("not there: [[meter]], ")


def test_only_what_stands_in_the_file(call):
    assert call(SETTINGS, "--given").stdout == (
        "[supply]\n  port: /dev/ttyUSB0\n\n"
        "[bath]\n  name: b\n\n"
        "[[interlock]] lid\n  stop: hold\n  name: lid\n  pin: 22\n\n"
    )


def test_a_wrong_file_is_one_error(call):
    result = call(SETTINGS.replace('"hold"', '"halt"'))
    assert result.exit_code == 2
    assert "interlock[1].stop" in result.stderr
    assert result.stdout == ""
