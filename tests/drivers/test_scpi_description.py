"""Descriptions of supplies: what is shipped, what is refused, and how the refusal reads."""

import re
from pathlib import Path

import pytest
from pydantic import ValidationError

from drivers.contracts import Rating
from drivers.errors import DescriptionError
from drivers.files import description_path
from drivers.scpi.description import load_description

SHIPPED = description_path("scpi99")


@pytest.fixture
def altered(tmp_path):
    """Write the shipped description with one passage replaced, and give its path."""

    def write(old: str, new: str) -> Path:
        text = SHIPPED.read_text()
        assert text.count(old) == 1, old
        path = tmp_path / "mine.toml"
        path.write_text(text.replace(old, new))
        return path

    return write


def test_the_shipped_description_is_found_by_its_name():
    description = load_description("scpi99")
    assert description.words.measure_current == "MEAS:CURR?"
    assert description.line.terminator_out == "\n"
    assert description.supply_rating() == Rating(
        current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01
    )


def test_every_key_of_the_shipped_description_is_explained_above_it():
    lines = SHIPPED.read_text().splitlines()
    blocks = "\n".join(lines).split("\n\n")
    for block in blocks:
        keys = [line for line in block.splitlines() if re.match(r"[a-z0-9_]+ = ", line)]
        if keys:
            assert block.splitlines()[0].startswith(("#", "[")), block
            assert any(line.startswith("# ") for line in block.splitlines()), block


def test_keys_that_are_commented_out_are_keys(tmp_path):
    text = SHIPPED.read_text()
    text = text.replace('# remote = "', 'remote = "').replace('# local = "', 'local = "')
    text = text.replace('# measure_both = "', 'measure_both = "')
    head, _, tail = text.partition("# [mode_by_status]")
    status = tail.partition("\n\n")[0]
    text = head + "[mode_by_status]" + status.replace("# ", "")
    path = tmp_path / "all.toml"
    path.write_text(text)
    description = load_description(path)
    assert description.words.remote == "SYST:REM"
    assert description.words.local == "SYST:LOC"
    assert description.words.measure_both == "MEAS:CURR?;VOLT?"
    assert description.mode_by_status is not None
    assert description.mode_by_status.constant_voltage == 2


def test_a_description_cannot_be_changed_afterwards():
    description = load_description("scpi99")
    with pytest.raises(ValidationError, match="frozen"):
        description.line.baud = 1200


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("baud = 9600", "baud = 9", "line.baud: got 9, allowed: greater than or equal to 50"),
        ("baud = 9600", 'baud = "9600"', "line.baud: got '9600', allowed: a valid integer"),
        ("baud = 9600", "bauds = 9600", "line.bauds: unknown key; allowed here: baud, data_bits"),
        ("baud = 9600", "", "line.baud: missing, but required"),
        ("data_bits = 8", "data_bits = 9", "line.data_bits: got 9, allowed: 7 or 8"),
        (
            'parity = "none"',
            'parity = "N"',
            "line.parity: got 'N', allowed: 'none', 'even', 'odd', 'mark' or 'space'",
        ),
        ("stop_bits = 1", "stop_bits = 3", "line.stop_bits: got 3, allowed: 1 or 2"),
        (
            r'terminator_out = "\n"',
            'terminator_out = ";"',
            r"line.terminator_out: got ';', allowed: '\n', '\r\n', '\r' or ''",
        ),
        (r'terminator_in = "\n"', 'terminator_in = "x"', "line.terminator_in: got 'x'"),
        ("echo = false", "echo = 0", "line.echo: got 0, allowed: a valid boolean"),
        (
            "reply_timeout_ms = 500",
            "reply_timeout_ms = 0",
            "line.reply_timeout_ms: got 0, allowed: greater than or equal to 1",
        ),
        ("reply_timeout_ms = 500", "reply_timeout_ms = nan", "line.reply_timeout_ms: got nan"),
        ("write_timeout_ms = 500", "write_timeout_ms = 1e9", "line.write_timeout_ms: got 1000000"),
        ("write_timeout_ms = 500", "write_timeout_s = 0.5", "line.write_timeout_s: unknown key"),
        (
            "pause_after_command_ms = 0",
            "pause_after_command_ms = -1",
            "line.pause_after_command_ms: got -1, allowed: greater than or equal to 0",
        ),
        ('identify = "*IDN?"', 'identify = ""', "words.identify: got '', allowed: one line"),
        (
            'output_off = "OUTP OFF"',
            r'output_off = "OUTP OFF\n"',
            r"words.output_off: got 'OUTP OFF\n', allowed: one line of printable ASCII",
        ),
        ('output_off = "OUTP OFF"', "", "words.output_off: missing"),
        (
            '"CURR {value}"',
            '"CURR"',
            "words.set_current: got 'CURR', allowed: a command with {value} once",
        ),
        ('"VOLT {value}"', '"VOLT {value}{x}"', "words.set_voltage: got 'VOLT {value}{x}'"),
        (
            'identity = "^[^,]+,[^,]+,"',
            'identity = "("',
            "replies.identity: got '(', allowed: a regular expression",
        ),
        (
            'units = "never"',
            "units = false",
            "replies.units: got False, allowed: 'never', 'always' or 'maybe'",
        ),
        ('both_separator = ","', 'both_separator = "/"', "replies.both_separator: got '/'"),
        ('both_order = "current, voltage"', 'both_order = "V, A"', "replies.both_order: got"),
        ("current_a = 5.0", "current_a = 0.0", "rating.current_a: got 0.0, allowed: greater"),
        ("voltage_v = 30.0", "voltage_v = inf", "rating.voltage_v: got inf"),
        (
            "current_decimals = 3",
            "current_decimals = 2",
            "rating.current_decimals: got 2, allowed: enough decimals to write a step of 0.001",
        ),
        ("output_every_reads = 0", "output_every_reads = -1", "reading.output_every_reads: got -1"),
        (
            "[mode_by_nearness]\ncurrent_a = 0.02",
            "[mode_by_nearness]\ncurrent_a = 0",
            "mode_by_nearness.current_a: got 0",
        ),
        (
            "[mode_by_nearness]\ncurrent_a = 0.02",
            "[mode_by_nearness]\ncurrent_ma = 20",
            "mode_by_nearness.current_ma: unknown key; allowed here: current_a, voltage_v",
        ),
        (
            "[mode_by_nearness]",
            "[mode_by_guess]",
            "mode_by_guess: unknown key; allowed here: title",
        ),
        ('title = "SCPI-99 DC supply"', "title = 99", "title: got 99, allowed: a valid string"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_what_is_allowed(altered, old, new, expected):
    path = altered(old, new)
    with pytest.raises(DescriptionError) as caught:
        load_description(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert expected in message


STATUS = """
[mode_by_status]
every_reads = {every}
query = "STAT:QUES:COND?"
mask = {mask}
constant_current = {cc}
constant_voltage = {cv}
"""


@pytest.mark.parametrize(
    ("every", "mask", "cc", "cv", "expected"),
    [
        (1, 3, 1, 1, "must differ within mask"),
        (1, 3, 1, 4, "must differ within mask"),
        (0, 3, 1, 2, "mode_by_status.every_reads: got 0"),
        (1, -1, 1, 2, "mode_by_status.mask: got -1"),
    ],
)
def test_a_status_that_cannot_tell_the_mode_is_refused(tmp_path, every, mask, cc, cv, expected):
    path = tmp_path / "mine.toml"
    head = SHIPPED.read_text().partition("[mode_by_nearness]")[0]
    path.write_text(head + STATUS.format(every=every, mask=mask, cc=cc, cv=cv))
    with pytest.raises(DescriptionError, match=expected):
        load_description(path)


def test_two_ways_to_tell_the_mode_are_one_too_many(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SHIPPED.read_text() + STATUS.format(every=1, mask=3, cc=1, cv=2))
    with pytest.raises(DescriptionError, match="one of mode_by_status and mode_by_nearness"):
        load_description(path)


def test_all_faults_are_told_at_once(altered):
    path = altered("baud = 9600\n", "baud = 9\nspeed = 1\n")
    with pytest.raises(DescriptionError) as caught:
        load_description(path)
    assert "line.baud: got 9" in str(caught.value)
    assert "line.speed: unknown key" in str(caught.value)


@pytest.mark.parametrize("content", [b"title = ", b"\xff\xfe", b"a = 1\na = 2\n"])
def test_a_file_that_is_not_toml_is_refused(tmp_path, content):
    path = tmp_path / "broken.toml"
    path.write_bytes(content)
    with pytest.raises(DescriptionError, match=r"broken\.toml: not readable as TOML"):
        load_description(path)


def test_an_empty_file_lacks_its_tables(tmp_path):
    path = tmp_path / "empty.toml"
    path.write_text("")
    with pytest.raises(DescriptionError, match="line: missing, but required"):
        load_description(path)


def test_a_table_that_is_a_number_is_refused(tmp_path):
    path = tmp_path / "flat.toml"
    path.write_text("line = 5\n")
    with pytest.raises(DescriptionError, match="line: got 5, allowed: a table"):
        load_description(path)


@pytest.mark.parametrize("name", ["scpi98", "missing.toml", "/nowhere/mine.toml"])
def test_a_missing_file_is_named_beside_the_shipped_ones(name):
    with pytest.raises(DescriptionError, match=f"{name}: no such description.*scpi99"):
        load_description(name)
