"""`tankhand hardware` from the shell."""

from click.testing import CliRunner

from daemon.service.commands.cli import main


def call(*words):
    return CliRunner().invoke(main, ["hardware", *words])


def test_sizes_are_told_with_cautions():
    done = call("--area", "1.8 dm²", "--current-density", "2.5 A/dm²", "--length", "1.5 m")
    assert done.exit_code == 0, done.output
    lines = done.stdout.splitlines()
    assert lines[0] == "current    4.5 A: 1.8 dm² at 2.5 A/dm²"
    assert any(line.startswith("caution") for line in lines)


def test_what_was_written_wrongly_is_code_2():
    done = call("--area", "1.8 dm", "--current-density", "2.5 A/dm²", "--length", "1.5 m")
    assert done.exit_code == 2
    assert done.stderr.startswith("tankhand: hardware: area: expected an area such as")
