"""The tables of beacon, siren, button and interlocks: who may have which pin."""

import pytest
from pydantic import ValidationError

from daemon.service.devices.pin_settings import (
    ButtonTable,
    ContactorTable,
    InterlockTable,
    SignalTable,
    pin_conflict,
)


def loop(name, pin):
    return InterlockTable.model_validate({"name": name, "pin": pin, "stop": "hold"})


def wired(**pins):
    """Why these pins cannot be wired together; all differ but for what is given."""
    pin = {"line": 17, "auxiliary": 27, "lid": 22, "leak": 23, "beacon": 20, "siren": 16,
           "button": 26} | pins  # fmt: skip
    return pin_conflict(
        ContactorTable.model_validate(
            {"heartbeat_pin": pin["line"], "auxiliary_pin": pin["auxiliary"]}
        ),
        [loop("lid", pin["lid"]), loop("leak", pin["leak"])],
        SignalTable.model_validate({"pin": pin["beacon"]}),
        SignalTable.model_validate({"pin": pin["siren"]}),
        ButtonTable.model_validate({"pin": pin["button"]}),
    )


def test_pins_that_all_differ_can_be_wired():
    assert wired() is None
    assert pin_conflict(None, []) is None


@pytest.mark.parametrize(
    ("pins", "first", "second"),
    [
        ({"beacon": 17}, "contactor.heartbeat_pin", "beacon.pin"),
        ({"siren": 27}, "contactor.auxiliary_pin", "siren.pin"),
        ({"beacon": 22}, "interlock 'lid'", "beacon.pin"),
        ({"button": 23}, "interlock 'leak'", "acknowledge_button.pin"),
        ({"siren": 20}, "beacon.pin", "siren.pin"),
        ({"button": 20}, "beacon.pin", "acknowledge_button.pin"),
        ({"button": 16}, "siren.pin", "acknowledge_button.pin"),
        ({"auxiliary": 17}, "contactor.heartbeat_pin", "contactor.auxiliary_pin"),
    ],
)
def test_one_pin_has_one_owner(pins, first, second):
    (number,) = pins.values()
    assert wired(**pins) == f"GPIO{number} is given twice: {first} and {second}"


def test_a_button_without_anything_else():
    button = ButtonTable.model_validate({"pin": 26})
    assert pin_conflict(None, [], acknowledge_button=button) is None
    assert pin_conflict(None, [loop("lid", 26)], acknowledge_button=button) == (
        "GPIO26 is given twice: interlock 'lid' and acknowledge_button.pin"
    )


@pytest.mark.parametrize(
    ("keys", "active_high"),
    [
        ({"pin": 16}, True),
        ({"pin": 16, "active_level": "high"}, True),
        ({"pin": 5, "active_level": "low"}, False),
    ],
)
def test_a_signal_is_on_at_the_level_of_its_driver(keys, active_high):
    assert SignalTable.model_validate(keys).active_high is active_high


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        ({"pin": 5}, "GPIO5 is pulled up from power-on"),
        ({"pin": 16, "active_level": "low"}, "GPIO16 is pulled down .* while the Pi boots"),
        ({"pin": 14}, "serial console"),
        ({"pin": 16, "active_level": "both"}, "'high' or 'low'"),
        ({"pin": "16"}, "valid integer"),
        ({}, "pin\n.*required"),
    ],
)
def test_a_signal_that_would_sound_while_the_pi_boots_is_refused(keys, words):
    with pytest.raises(ValidationError, match=words):
        SignalTable.model_validate(keys)


def test_a_button_where_a_broken_wire_would_read_as_pressed_is_refused():
    with pytest.raises(ValidationError, match="GPIO4 is pulled up from power-on"):
        ButtonTable.model_validate({"pin": 4})
