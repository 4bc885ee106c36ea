"""Descriptions of Modbus supplies: what is shipped, what is refused, and how the refusal reads."""

import re

import pytest

from drivers.contracts import Rating
from drivers.errors import DescriptionError
from drivers.files import MODBUS_RTU, SCPI, description_path, protocol_of
from drivers.modbus.description import load_description

SHIPPED = description_path("modbus-example")


@pytest.fixture
def altered(tmp_path):
    """Write the shipped description with passages replaced once each, and give its path."""

    def write(*changes):
        text = SHIPPED.read_text()
        for old, new in changes:
            assert old in text, old
            text = text.replace(old, new, 1)
        path = tmp_path / "mine.toml"
        path.write_text(text)
        return path

    return write


def in_table(table, old, new):
    """A change of one line in one table of the shipped description."""
    body = SHIPPED.read_text().partition(f"\n[{table}]\n")[2].partition("\n[")[0]
    assert body.count(old) == 1, (table, old)
    return f"\n[{table}]\n{body}", f"\n[{table}]\n{body.replace(old, new)}"


def test_the_shipped_description_is_found_by_its_name():
    description = load_description("modbus-example")
    assert description.supply_rating() == Rating(
        current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01
    )
    assert description.measured_together == (0x10, 2)


def test_every_address_used_is_in_the_printed_register_table():
    text = SHIPPED.read_text()
    printed = set(re.findall(r"^#   (0x\d{4})", text, re.MULTILINE))
    used = set(re.findall(r"^(?:# )?address = (0x\d{4})", text, re.MULTILINE))
    assert used == printed


def test_keys_that_are_commented_out_are_keys(tmp_path):
    text = SHIPPED.read_text()
    head, _, tail = text.partition("# [[at_close]]")
    release, _, rest = tail.partition("\n\n")
    rest = re.sub(r"^\[mode_by_status\]\n(.+\n)+", "", rest, flags=re.MULTILINE)
    near = rest.partition("# [mode_by_nearness]")
    text = f"{head}[[at_close]]{release.replace('# ', '')}\n\n{near[0]}[mode_by_nearness]"
    path = tmp_path / "all.toml"
    path.write_text(text + near[2].replace("# ", ""))
    description = load_description(path)
    assert [(w.function, w.address, w.value) for w in description.at_close] == [(6, 0x23, 0)]
    assert description.mode_by_status is None
    assert description.mode_by_nearness is not None
    assert description.mode_by_nearness.current_a == 0.02


def test_the_protocol_is_told_by_the_description_itself(altered):
    assert protocol_of("modbus-example") == MODBUS_RTU
    assert protocol_of(altered()) == MODBUS_RTU
    assert protocol_of("scpi99") == SCPI
    path = altered(('protocol = "modbus-rtu"', 'protocol = "modbus-tcp"'))
    with pytest.raises(DescriptionError, match="got 'modbus-tcp', allowed: 'scpi' or 'modbus-rtu'"):
        protocol_of(path)


def test_a_missing_file_is_named_beside_the_shipped_ones_of_all_protocols():
    with pytest.raises(DescriptionError, match=r"no such description.*modbus-example, scpi99"):
        load_description("modbus")


@pytest.mark.parametrize(
    ("table", "old", "new", "expected"),
    [
        ("line", "unit = 1", "unit = 0", "line.unit: got 0, allowed: greater than or equal to 1"),
        (
            "line",
            "unit = 1",
            "unit = 248",
            "line.unit: got 248, allowed: less than or equal to 247",
        ),
        ("line", "unit = 1", "", "line.unit: missing, but required"),
        ("line", "baud = 9600", "baud = 9", "line.baud: got 9, allowed: greater"),
        ("line", 'parity = "none"', 'parity = "mark"', "line.parity: got 'mark', allowed: 'none'"),
        ("line", "stop_bits = 1", "stop_bits = 3", "line.stop_bits: got 3, allowed: 1 or 2"),
        ("line", "echo = false", "echo = 0", "line.echo: got 0, allowed: a valid boolean"),
        ("line", "reply_timeout_ms = 200", "reply_timeout_ms = 0", "line.reply_timeout_ms: got 0"),
        (
            "line",
            "reply_timeout_ms = 200",
            "reply_timeout_s = 0.2",
            "line.reply_timeout_s: unknown key; allowed here: baud, parity, stop_bits, unit",
        ),
        ("line", "pause_between_frames_ms = 0", "pause_between_frames_ms = -1", "got -1"),
        ("measured_current", "function = 4", "function = 1", "measured_current.function: got 1"),
        ("measured_current", "address = 0x0010", "address = 65536", "address: got 65536"),
        ("measured_current", 'type = "u16"', 'type = "u8"', "measured_current.type: got 'u8'"),
        ("measured_current", "scale_a", "scale_v", "scale_v: unknown key; allowed here: "),
        ("measured_current", "scale_a = 0.001", "scale_a = 0.0", "allowed: any number but 0"),
        ("measured_voltage", "scale_v = 0.01", "scale_v = inf", "scale_v: got inf"),
        (
            "measured_current",
            'type = "u16"',
            'type = "u32"',
            "measured_current: allowed: word_order with the types u32, s32 and float32",
        ),
        (
            "measured_current",
            'type = "u16"',
            'type = "u16"\nword_order = "high first"',
            "measured_current: allowed: word_order with the types u32, s32 and float32",
        ),
        (
            "measured_current",
            'type = "u16"',
            'type = "u32"\nword_order = "big"',
            "word_order: got 'big', allowed: 'high first' or 'low first'",
        ),
        ("set_current", "function = 6", "function = 5", "set_current.function: got 5, allowed: 6"),
        (
            "set_current",
            'type = "u16"',
            'type = "u32"\nword_order = "low first"',
            "set_current: allowed: function 16 for a number of two registers",
        ),
        ("output", "off = 0", "off = 1", "output: allowed: on and off must differ"),
        ("output", "on = 1", "on = 65536", "output.on: got 65536"),
        (
            "output",
            "function = 6\naddress = 0x0022\non = 1",
            "function = 5\naddress = 0x0022\non = 255",
            "output: allowed: values of 0 and 1 with function 5, which is for single bits",
        ),
        ("read_back_output", "on = 1", "on = 2", "on and off must differ within mask"),
        ("read_back_output", "function = 4", "function = 5", "read_back_output.function: got 5"),
        (
            "read_back_output",
            "function = 4\naddress = 0x0012\nmask = 0x0001",
            "function = 2\naddress = 0x0012\nmask = 3",
            "values of 0 and 1 with function 2",
        ),
        (
            "[at_open]",
            "function = 6\naddress = 0x0023\nvalue = 1",
            "function = 3\naddress = 0x0023\nvalue = 1",
            "at_open.0.function: got 3, allowed: 5",
        ),
        ("[at_open]", "value = 1", "valve = 1", "at_open.0.valve: unknown key; allowed here: func"),
        (
            "[at_open]",
            "function = 6\naddress = 0x0023\nvalue = 1",
            "function = 5\naddress = 0x0023\nvalue = 2",
            "at_open.0: allowed: values of 0 and 1 with function 5",
        ),
        ("identity", "value = 3005", "value = -1", "identity.value: got -1"),
        ("resync", "count = 4", "count = 126", "resync.count: got 126"),
        (
            "resync",
            "count = 4",
            "count = 1",
            "a resync.count that no other question with function 3 has; taken: 1",
        ),
        (
            "resync",
            "function = 3\naddress = 0x0020\ncount = 4",
            "function = 4\naddress = 0x0010\ncount = 2",
            "a resync.count that no other question with function 4 has; taken: 1, 2",
        ),
        (
            "resync",
            "function = 3\naddress = 0x0020\ncount = 4",
            "function = 4\naddress = 0x0010\ncount = 1",
            "a resync.count that no other question with function 4 has; taken: 1, 2",
        ),
        (
            "rating",
            "current_a = 5.0",
            "current_a = 66.0",
            "a set_current that holds the rating of 66: 66000 does not fit into u16",
        ),
        (
            "set_voltage",
            "scale_v = 0.01",
            "scale_v = -0.01",
            "a set_voltage that holds the rating of 30: -3000 does not fit into u16",
        ),
        (
            "set_current",
            "scale_a = 0.001",
            "scale_a = 0.002",
            "a set_current with a scale that resolves the step of 0.001",
        ),
        ("mode_by_status", "constant_voltage = 0x0004", "constant_voltage = 2", "must differ"),
        ("mode_by_status", "mask = 0x0006", "mask = 0x0002", "must differ within mask"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_what_is_allowed(altered, table, old, new, expected):
    path = altered(in_table(table, old, new))
    with pytest.raises(DescriptionError) as caught:
        load_description(path)
    message = str(caught.value)
    assert message.startswith(f"{path}: ")
    assert expected in message


def test_two_ways_to_tell_the_mode_are_one_too_many(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(SHIPPED.read_text() + "[mode_by_nearness]\ncurrent_a = 1\nvoltage_v = 1\n")
    with pytest.raises(DescriptionError, match="one of mode_by_status and mode_by_nearness"):
        load_description(path)


def test_a_description_without_its_protocol_is_not_taken_for_one(altered):
    path = altered(('protocol = "modbus-rtu"', ""))
    with pytest.raises(DescriptionError, match="protocol: missing"):
        load_description(path)
