"""Beacon, siren and the button that acknowledges, on mock pins and a virtual clock."""

import pytest
from gpiozero.pins.mock import MockFactory

from daemon.service.devices.pins import CYCLE_S, RENEW_S, InterlockLoop, Pins
from drivers.pins.lines import ContactInput, HeartbeatLine, SignalOutput

LINE, LID, BEACON, SIREN, BUTTON = 17, 22, 20, 16, 26


class Desk:
    """Signals and button with a loop beside them, looked at cycle by cycle."""

    def __init__(self):
        self.now_s = 1000.0
        self.factory = factory = MockFactory()
        self.pins = Pins(
            HeartbeatLine(LINE, factory),
            None,
            [InterlockLoop("lid", ContactInput(LID, "lid", factory), 0.0)],
            lambda: self.now_s,
            beacon=SignalOutput(BEACON, "beacon", factory),
            siren=SignalOutput(SIREN, "siren", factory),
            button=ContactInput(BUTTON, "acknowledge button", factory),
        )

    def levels(self, pin):
        return [state.state for state in self.factory.pin(pin).states]

    def level(self, pin):
        return self.factory.pin(pin).state

    def presses(self, *downs):
        """How many presses are told over cycles in which the button is down or not."""
        told = 0
        for down in downs:
            pin = self.factory.pin(BUTTON)
            (pin.drive_high if down else pin.drive_low)()
            self.now_s += CYCLE_S
            told += self.pins.look(self.now_s).acknowledge_pressed
        return told

    def shows(self, beacon, siren, for_s=CYCLE_S):
        """Show it in every cycle for that long; the faults that were told."""
        faults = []
        for _ in range(round(for_s / CYCLE_S)):
            self.now_s += CYCLE_S
            self.pins.show(beacon, siren)
            if self.pins.signal_fault is not None:
                faults.append(self.pins.signal_fault)
        return faults


@pytest.fixture
def desk():
    desk = Desk()
    yield desk
    desk.pins.close()


# Beacon and siren.


def test_they_are_off_until_they_are_wanted(desk):
    assert (desk.levels(BEACON), desk.levels(SIREN)) == ([False], [False])
    assert desk.shows(beacon=False, siren=False, for_s=5.0) == []
    assert (desk.levels(BEACON), desk.levels(SIREN)) == ([False], [False])


def test_each_follows_at_once_and_alone(desk):
    desk.shows(beacon=True, siren=False)
    assert (desk.level(BEACON), desk.level(SIREN)) == (True, False)
    desk.shows(beacon=True, siren=True)
    assert (desk.level(BEACON), desk.level(SIREN)) == (True, True)
    desk.shows(beacon=True, siren=False)
    assert (desk.level(BEACON), desk.level(SIREN)) == (True, False)
    desk.shows(beacon=False, siren=False)
    assert (desk.level(BEACON), desk.level(SIREN)) == (False, False)


def test_they_are_written_when_they_change_and_now_and_then(desk, mocker):
    written = mocker.spy(type(desk.factory.pin(SIREN)), "_set_state")
    desk.shows(beacon=False, siren=True, for_s=10 * RENEW_S)
    # Of 200 cycles: one for each signal and each renewal.
    assert 20 <= written.call_count <= 24


def test_one_that_was_moved_is_put_right_and_told(desk):
    desk.shows(beacon=False, siren=True)
    desk.factory.pin(SIREN).state = False  # as another program does
    faults = desk.shows(beacon=False, siren=True, for_s=2.5 * RENEW_S)
    assert desk.level(SIREN) is True
    assert set(faults) == {"GPIO16, siren: was put on and found off"}
    assert desk.pins.signal_fault is None


def test_one_that_cannot_be_driven_is_told_and_the_other_goes_on(desk, mocker):
    siren = desk.factory.pin(SIREN)
    write = type(siren)._set_state

    def fail(self, value):
        if self is siren:
            raise RuntimeError("chip gone")
        write(self, value)

    mocker.patch.object(type(siren), "_set_state", fail)
    faults = desk.shows(beacon=True, siren=True, for_s=3 * RENEW_S)
    assert len(faults) == 60
    assert set(faults) == {"GPIO16, siren: chip gone"}
    assert desk.level(BEACON) is True
    mocker.stopall()
    desk.shows(beacon=True, siren=True, for_s=2.5 * RENEW_S)
    assert desk.pins.signal_fault is None
    assert desk.level(SIREN) is True


def test_both_faults_are_told(desk, mocker):
    broken = RuntimeError("chip gone")
    mocker.patch.object(type(desk.factory.pin(SIREN)), "_set_state", side_effect=broken)
    desk.pins.show(beacon=True, siren=True)
    assert desk.pins.signal_fault == "GPIO20, beacon: chip gone; GPIO16, siren: chip gone"
    mocker.stopall()


def test_in_the_end_they_are_off_and_all_pins_given_back(desk):
    desk.shows(beacon=True, siren=True)
    desk.pins.close()
    desk.pins.close()
    assert desk.levels(BEACON) == desk.levels(SIREN) == [False, True, False]
    functions = {desk.factory.pin(pin).function for pin in (LINE, LID, BEACON, SIREN, BUTTON)}
    assert functions == {"input"}


def test_one_that_cannot_be_closed_leaves_no_other_open(desk, mocker):
    desk.shows(beacon=True, siren=True)
    desk.pins.beat()
    broken = RuntimeError("chip gone")
    beacon = desk.factory.pin(BEACON)
    write = type(beacon)._set_state

    def fail(self, value):
        if self is beacon:
            raise broken
        write(self, value)

    mocker.patch.object(type(beacon), "_set_state", fail)
    with pytest.raises(Exception, match="GPIO20, beacon: chip gone"):
        desk.pins.close()
    assert desk.levels(LINE) == desk.levels(SIREN) == [False, True, False]
    assert desk.factory.pin(BUTTON).function == "input"
    mocker.stopall()


def test_without_any_nothing_happens():
    pins = Pins()
    pins.show(beacon=True, siren=True)
    assert pins.signal_fault is None
    assert pins.look(0.0).acknowledge_pressed is False
    pins.close()


# The button.


def test_a_press_is_told_once(desk):
    assert desk.presses(0, 0, 1, 1, 1, 1, 0, 0, 0) == 1


def test_each_press_is_told(desk):
    assert desk.presses(0, 1, 1, 0, 0, 1, 1, 0, 0, 1, 1) == 3


def test_a_button_that_stays_down_is_one_press(desk):
    assert desk.presses(0, *[1] * 2000) == 1


def test_a_button_that_is_down_from_the_first_look_is_none_until_it_is_let_go(desk):
    assert desk.presses(*[1] * 100) == 0
    assert desk.presses(0, 0, 1, 1) == 1


def test_a_spark_on_its_wire_is_none(desk):
    assert desk.presses(*[0, 0, 1] * 50, 0) == 0


def test_a_contact_that_bounces_is_one_press(desk):
    assert desk.presses(0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 1, 0, 1, 0, 0, 0) == 1


def test_who_asks_again_for_what_was_seen_is_not_told_again(desk):
    desk.presses(0, 1)
    desk.now_s += CYCLE_S
    assert desk.pins.look(desk.now_s).acknowledge_pressed is True
    assert desk.pins.seen.acknowledge_pressed is False
    assert desk.pins.seen.open_loops == ("lid",)


def test_a_stuck_button_that_cannot_be_read_for_a_while_is_no_new_press(desk, mocker):
    assert desk.presses(0, 1, 1) == 1
    pin = desk.factory.pin(BUTTON)
    mocker.patch.object(type(pin), "_get_state", side_effect=RuntimeError("chip gone"))
    for _ in range(5):
        desk.now_s += CYCLE_S
        seen = desk.pins.look(desk.now_s)
        assert (seen.acknowledge_pressed, seen.open_loops) == (False, ("lid",))
    mocker.stopall()
    assert desk.presses(1, 1, 1) == 0
