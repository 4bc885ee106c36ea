"""Pins on gpiozero's mock factory: levels in their order, broken wires, owners, refusals."""

import sys
import tomllib
from pathlib import Path

import pytest
from gpiozero.pins.mock import MockFactory

from drivers.errors import DriverError, PinError
from drivers.pins.header import contact_refusal, heartbeat_refusal, signal_refusal
from drivers.pins.lines import ContactInput, HeartbeatLine, SignalOutput, pi_factory

PROJECT = Path(__file__).parents[2] / "pyproject.toml"


@pytest.fixture
def factory():
    factory = MockFactory()
    yield factory
    factory.close()


def levels(factory, pin):
    return [state.state for state in factory.pin(pin).states]


# The heartbeat line.


def test_the_line_is_low_from_the_first_moment_and_moves_only_when_told(factory):
    line = HeartbeatLine(17, factory)
    assert levels(factory, 17) == [False]
    assert factory.pin(17).function == "output"
    line.beat()
    line.beat()
    line.beat()
    assert levels(factory, 17) == [False, True, False, True]


def test_at_rest_the_line_is_low_whatever_it_was(factory):
    line = HeartbeatLine(17, factory)
    line.beat()
    line.rest()
    line.rest()
    assert levels(factory, 17) == [False, True, False]
    line.beat()
    assert levels(factory, 17)[-1] is True


def test_given_back_the_line_has_gone_low_first(factory):
    line = HeartbeatLine(17, factory)
    line.beat()
    line.close()
    line.close()
    assert levels(factory, 17) == [False, True, False]
    assert factory.pin(17).function == "input"


def test_a_closed_line_does_not_move(factory):
    line = HeartbeatLine(17, factory)
    line.close()
    with pytest.raises(PinError, match="GPIO17, heartbeat"):
        line.beat()


def test_a_pin_that_the_kernel_refuses_is_told_with_its_name(factory, mocker):
    line = HeartbeatLine(17, factory)
    # lgpio's own error is a plain child of Exception.
    refusal = type("error", (Exception,), {})("bad handle")
    mocker.patch.object(type(factory.pin(17)), "_set_state", side_effect=refusal)
    with pytest.raises(PinError, match="GPIO17, heartbeat: bad handle"):
        line.beat()


# Beacon and siren.


def test_a_signal_is_off_from_the_first_moment_and_when_it_is_given_back(factory):
    siren = SignalOutput(16, "siren", factory)
    assert (factory.pin(16).function, levels(factory, 16)) == ("output", [False])
    siren.show(True)
    siren.show(True)
    siren.show(False)
    siren.show(True)
    siren.close()
    siren.close()
    assert levels(factory, 16) == [False, True, False, True, False]
    assert factory.pin(16).function == "input"


def test_a_signal_that_is_on_at_the_low_level(factory):
    """Until it is claimed, the pull that the Pi boots with keeps it off."""
    factory.pin(5).drive_high()
    factory.pin(5).clear_states()
    siren = SignalOutput(5, "siren", factory, active_high=False)
    assert levels(factory, 5) == [True]
    siren.show(True)
    assert levels(factory, 5) == [True, False]
    siren.close()
    assert levels(factory, 5) == [True, False, True]


def test_a_signal_that_did_not_stay_is_told_and_put_right(factory):
    beacon = SignalOutput(20, "beacon", factory)
    beacon.show(True)
    factory.pin(20).state = False  # as another program does
    with pytest.raises(PinError, match="GPIO20, beacon: was put on and found off"):
        beacon.show(True)
    assert factory.pin(20).state is True
    beacon.show(True)
    beacon.show(False)
    factory.pin(20).state = True
    with pytest.raises(PinError, match="GPIO20, beacon: was put off and found on"):
        beacon.show(False)
    assert factory.pin(20).state is False


def test_a_signal_whose_wire_is_shorted_is_told_every_time(factory, mocker):
    siren = SignalOutput(16, "siren", factory)
    siren.show(True)
    mocker.patch.object(type(factory.pin(16)), "_get_state", return_value=False)
    for _ in range(3):
        with pytest.raises(PinError, match="GPIO16, siren: was put on and found off"):
            siren.show(True)


def test_a_signal_that_the_kernel_refuses_is_told_with_its_name(factory, mocker):
    siren = SignalOutput(16, "siren", factory)
    mocker.patch.object(type(factory.pin(16)), "_set_state", side_effect=RuntimeError("bad handle"))
    with pytest.raises(PinError, match="GPIO16, siren: bad handle"):
        siren.show(True)
    with pytest.raises(PinError, match="GPIO16, siren: bad handle"):
        siren.close()
    assert factory.pin(16).function == "input"


def test_a_closed_signal_is_not_switched(factory):
    siren = SignalOutput(16, "siren", factory)
    siren.close()
    with pytest.raises(PinError, match="GPIO16, siren"):
        siren.show(True)


def test_what_would_sound_while_the_pi_boots_is_refused(factory):
    """Pulls from power-on: GPIO 0 to 8 up, 9 to 27 down."""
    high = [pin for pin in range(-1, 41) if signal_refusal(pin, active_high=True) is None]
    low = [pin for pin in range(-1, 41) if signal_refusal(pin, active_high=False) is None]
    assert high == [16, 17, 20, 21, 22, 23, 24, 25, 26, 27]
    assert low == [5, 6]


@pytest.mark.parametrize(
    ("pin", "active_high", "words"),
    [
        (5, True, "GPIO5 is pulled up from power-on; allowed for a signal that is on at the high"),
        (14, True, "GPIO14 may be moved by SPI, the serial console"),
        (28, True, "GPIO28 is not on the header"),
        (16, False, "GPIO16 is pulled down from power-on, so that the signal would be on while"),
        (2, False, "GPIO2 may be moved by I²C"),
        (28, False, "GPIO28 is not on the header; allowed for a signal .* low level: 5, 6$"),
    ],
)
def test_a_signal_on_such_a_pin_is_refused(factory, pin, active_high, words):
    with pytest.raises(PinError, match=f"^{words}"):
        SignalOutput(pin, "siren", factory, active_high=active_high)


# Contacts.


def test_a_contact_is_closed_when_its_pin_is_high(factory):
    contact = ContactInput(22, "lid", factory)
    pin = factory.pin(22)
    pin.drive_high()
    assert contact.closed() is True
    pin.drive_low()
    assert contact.closed() is False


def test_with_no_wire_the_pin_is_pulled_to_open(factory):
    contact = ContactInput(22, "lid", factory)
    assert factory.pin(22).pull == "down"
    assert contact.closed() is False


def test_a_contact_that_was_given_back_is_not_read(factory):
    contact = ContactInput(22, "lid", factory)
    contact.close()
    contact.close()
    with pytest.raises(PinError, match="GPIO22, lid"):
        contact.closed()


# Who may have which pin.


def test_a_pin_has_one_owner(factory):
    owner = ContactInput(17, "lid", factory)
    with pytest.raises(PinError, match="GPIO17"):
        HeartbeatLine(17, factory)
    with pytest.raises(PinError, match="GPIO17"):
        ContactInput(17, "level", factory)
    owner.close()
    ContactInput(17, "level", factory)


@pytest.mark.parametrize("pin", range(9))
def test_what_is_pulled_up_at_boot_is_refused(factory, pin):
    with pytest.raises(PinError, match=f"^GPIO{pin} is pulled up from power-on"):
        HeartbeatLine(pin, factory)
    with pytest.raises(PinError, match=f"^GPIO{pin} is pulled up from power-on"):
        ContactInput(pin, "lid", factory)


@pytest.mark.parametrize("pin", [9, 10, 11, 12, 13, 14, 15, 18, 19])
def test_the_heartbeat_is_not_on_a_pin_that_others_move(factory, pin):
    with pytest.raises(PinError, match="SPI, the serial console"):
        HeartbeatLine(pin, factory)
    assert ContactInput(pin, "lid", factory).closed() is False


@pytest.mark.parametrize("pin", [-1, 28, 40])
def test_pins_that_are_not_there(factory, pin):
    with pytest.raises(PinError, match="not on the header"):
        HeartbeatLine(pin, factory)
    with pytest.raises(PinError, match="not on the header"):
        ContactInput(pin, "lid", factory)


def test_what_is_allowed_is_told():
    assert heartbeat_refusal(2).endswith("16, 17, 20, 21, 22, 23, 24, 25, 26, 27")
    assert contact_refusal(2).endswith("9 to 27")
    assert [pin for pin in range(28) if heartbeat_refusal(pin) is None] == [
        16, 17, 20, 21, 22, 23, 24, 25, 26, 27,
    ]  # fmt: skip


# The library.


def test_without_lgpio_one_error_says_what_to_install(monkeypatch):
    monkeypatch.setitem(sys.modules, "lgpio", None)
    monkeypatch.delitem(sys.modules, "gpiozero.pins.lgpio", raising=False)
    with pytest.raises(PinError, match=r"lgpio is missing: install tankhand with its extra `pi`"):
        pi_factory()
    project = tomllib.loads(PROJECT.read_text("utf-8"))["project"]
    assert any(name.startswith("lgpio") for name in project["optional-dependencies"]["pi"])


def test_pins_that_cannot_be_had_are_told(monkeypatch, mocker):
    module = mocker.Mock(LGPIOFactory=mocker.Mock(side_effect=RuntimeError("not a Pi")))
    monkeypatch.setitem(sys.modules, "gpiozero.pins.lgpio", module)
    with pytest.raises(PinError, match="pins: not a Pi"):
        pi_factory()


def test_the_loop_can_catch_it_with_every_other_driver_s_error():
    assert issubclass(PinError, DriverError)
