"""The pin map against the Pi's own plug, the chip's pulls, and what the daemon accepts."""

import re
from itertools import pairwise
from pathlib import Path

import pytest
from gpiozero.pins.pi import PiBoardInfo

from daemon.service.devices.pin_settings import ContactorTable
from drivers.pins.header import heartbeat_refusal
from hardware.circuits.netlist import read_level
from hardware.circuits.pin_map import BUSES, PLUG, box_settings, shown, uses

PINS = (Path(__file__).parent.parent.parent / "hardware" / "pins.md").read_text("utf-8")
BOX = read_level(3)
PULLED_UP = {0, 1, 2, 3, 4, 5, 6, 7, 8}
"""BCM2835 ARM Peripherals, p. 102, table 6-31: GPIO0 to GPIO8 high, GPIO9 to GPIO27 low."""


def test_the_plug_is_that_of_a_pi():
    header = PiBoardInfo.from_revision(0xC03111).headers["J8"]  # a Pi 4 B, as gpiozero knows it
    there = {pin.name: number for number, pin in header.pins.items()}
    assert {f"GPIO{pin}": place for pin, place in PLUG.items()} == {
        name: number for name, number in there.items() if name.startswith("GPIO")
    }
    assert header.pins[1].name == "3V3"
    assert header.pins[6].name == "GND"


def test_what_has_to_be_off_at_boot_is_pulled_down_then():
    for use in uses(box_settings()):
        assert (use.at_boot == "up") is (use.pin in PULLED_UP)
        if use.drives and use.role not in BUSES:
            assert use.pin not in PULLED_UP
            assert heartbeat_refusal(use.pin) is None
    for pin in PULLED_UP:
        with pytest.raises(ValueError, match="pulled up from power-on"):
            ContactorTable.model_validate({"heartbeat_pin": pin})


def test_every_pin_that_is_driven_has_a_pull_down_of_its_own():
    pi = BOX.named("Pi")
    for use in uses(box_settings()):
        if use.role in BUSES:
            continue
        net = next(pin.net for pin in pi.pins if pin.role == use.role)
        assert any(
            part.kind == "resistor" and {*part.nets} == {net, "Pi GND"} for part in BOX.parts
        ), use


def test_drawing_and_settings_name_the_same_pins():
    roles = {pin.role for pin in BOX.named("Pi").pins if pin.role}
    assert roles == {use.role for use in uses(box_settings())} | {"3V3", "GND"}
    assert shown(box_settings())["contactor.heartbeat_pin"] == "GPIO17 (11)"


def test_a_closed_loop_reads_high_and_a_wire_on_earth_spares_the_rail():
    ohm = {"10 kΩ": 10e3, "1 kΩ": 1e3}
    up, down = ohm[BOX.named("R31").value], ohm[BOX.named("R21").value]
    pulled = 1 / (1 / down + 1 / 50e3)  # with the chip's own 50 kΩ (from memory, not checked)
    assert 3.3 * pulled / (pulled + up) > 2.5
    assert 3.3 / up < 0.005


def test_the_lines_for_the_boot_hold_what_is_driven_low():
    assert "gpio=16,17,20=op,dl" in PINS
    assert "dtoverlay=w1-gpio,gpiopin=4" in PINS


def test_overlay_lines_are_of_a_known_form():
    block = re.search(r"<!-- made: boot -->\n```\n(.*?)```", PINS, re.DOTALL)
    assert block
    for line in block[1].splitlines():
        assert re.fullmatch(
            r"dtparam=[a-z0-9_]+=\w+(,[a-z0-9_]+=\w+)*|dtoverlay=[\w-]+(,\w+=\w+)*|gpio=[\d,]+=op,dl",
            line,
        ), line  # fmt: skip


def test_udev_rules_are_of_a_known_form():
    rules = [line for line in PINS.splitlines() if line.startswith("SUBSYSTEM==")]
    assert len(rules) == 2
    for rule in rules:
        clauses = rule.split(", ")
        assert all(
            re.fullmatch(r'(SUBSYSTEM|ATTRS?\{\w+\}|ENV\{\w+\})=="[^"]+"|SYMLINK\+="[\w-]+"', each)
            for each in clauses
        ), rule
        # What is looked for comes before what is done.
        does = ["+=" in each for each in clauses]
        assert all(before <= after for before, after in pairwise(does))
        assert does[-1]
