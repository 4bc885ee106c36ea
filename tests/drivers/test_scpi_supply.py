"""The supply as the rest of tankhand sees it, in byte-exact exchanges.

The words are SCPI-99's own, as in the shipped description; none was tried on a device.
"""

import itertools
from contextlib import contextmanager

import pytest

from drivers.contracts import Mode, Reading
from drivers.errors import (
    CommandRefusedError,
    GarbledReplyError,
    NoReplyError,
    PortUnavailableError,
    SetPointRefusedError,
    WrongDeviceError,
)
from drivers.scpi.description import (
    Description,
    ModeByStatusTable,
    load_description,
)
from drivers.scpi.supply import ScpiSupply

IDN = (b"\n*IDN?\n", b"TANK,ONE,1,1.0\n")
NO_ERROR = (b"SYST:ERR?\n", b'+0,"No error"\n')
OFF = (b"OUTP OFF\n", b"")
IS_OFF = (b"OUTP?\n", b"0\n")
IS_ON = (b"OUTP?\n", b"1\n")
OPENING = (IDN, OFF, NO_ERROR, OFF, IS_OFF, NO_ERROR)
READING = ((b"MEAS:CURR?\n", b"2.500\n"), (b"MEAS:VOLT?\n", b"3.10\n"))


def described(line=(), words=(), replies=(), **tables) -> Description:
    """The shipped description, with short time limits and what the test changes."""
    shipped = load_description("scpi99")
    limits = {"reply_timeout_ms": 200, "write_timeout_ms": 200}
    return shipped.model_copy(
        update={
            "line": shipped.line.model_copy(update=limits | dict(line)),
            "words": shipped.words.model_copy(update=dict(words)),
            "replies": shipped.replies.model_copy(update=dict(replies)),
            **tables,
        }
    )


def setting(word, text, read_back):
    """A set-point's whole exchange without errors."""
    return (
        (f"{word} {text}\n".encode(), b""),
        NO_ERROR,
        (f"{word}?\n".encode(), read_back.encode() + b"\n"),
    )


HELD_0_AND_0 = ((b"CURR?\n", b"0\n"), (b"VOLT?\n", b"0\n"))
SET_2_5_A = setting("CURR", "2.500", "2.5")
SET_12_V = setting("VOLT", "12.000", "12")


@contextmanager
def opened(peer, description=None, opening=OPENING, now=lambda: 0.0):
    """A supply that the peer has just let open."""
    supply = ScpiSupply(peer.port, description or described(), now)
    try:
        with peer.expects(*opening):
            supply.open()
        yield supply
    finally:
        supply.close()


@contextmanager
def holding(peer, description=None, **kwargs):
    """An open supply that holds 2.5 A and 12 V."""
    with opened(peer, description, **kwargs) as supply:
        with peer.expects(*HELD_0_AND_0, *SET_2_5_A, *SET_12_V):
            supply.set_points(2.5, 12.0)
        yield supply


class TestOpening:
    def test_identifies_then_switches_off_and_never_resets(self, peer):
        with opened(peer) as supply:
            assert supply.identity == "TANK,ONE,1,1.0"

    def test_says_remote_before_the_first_command(self, peer):
        opening = (IDN, (b"SYST:REM\n", b""), OFF, NO_ERROR, OFF, IS_OFF, NO_ERROR)
        with opened(peer, described(words={"remote": "SYST:REM"}), opening):
            pass

    def test_throws_old_errors_away(self, peer):
        old = (b"SYST:ERR?\n", b'-113,"Undefined header"\n')
        with opened(peer, opening=(IDN, OFF, old, old, NO_ERROR, OFF, IS_OFF, NO_ERROR)):
            pass

    def test_without_an_error_queue_none_is_asked(self, peer):
        with opened(peer, described(words={"error_queue": None}), (IDN, OFF, OFF, IS_OFF)):
            pass

    def test_skips_a_banner_and_a_late_reply(self, peer):
        banner = (IDN[0], b"1.234\nReady\nTANK,ONE,1,1.0\n")
        with opened(peer, opening=(banner, *OPENING[1:])) as supply:
            assert supply.identity == "TANK,ONE,1,1.0"

    def test_another_device_is_told_nothing_more(self, peer):
        supply = ScpiSupply(peer.port, described(replies={"identity": "^TANK,TWO,"}))
        with (
            peer.expects(IDN),
            pytest.raises(WrongDeviceError, match=r"TANK,ONE.* expected .*'\^TANK,TWO,'"),
        ):
            supply.open()

    @pytest.mark.parametrize("noise", [b"\xfe\xfe\x00\n", b"\x00\x00\n", b"\x1f,\x02,\n"])
    def test_noise_is_garbled_rather_than_another_device(self, peer, noise):
        supply = ScpiSupply(peer.port, described())
        with (
            peer.expects((IDN[0], noise)),
            pytest.raises(GarbledReplyError, match=r"\*IDN\?"),
        ):
            supply.open()

    def test_silence_leaves_the_port_free(self, peer):
        supply = ScpiSupply(peer.port, described())
        with peer.expects((IDN[0], b"")), pytest.raises(NoReplyError):
            supply.open()
        with opened(peer):
            pass

    def test_an_output_that_stays_on_is_an_error(self, peer):
        supply = ScpiSupply(peer.port, described())
        with (
            peer.expects(IDN, OFF, NO_ERROR, OFF, IS_ON, NO_ERROR),
            pytest.raises(CommandRefusedError, match="OUTP OFF: the output is on"),
        ):
            supply.open()
        with pytest.raises(PortUnavailableError, match="is not open"):
            supply.read()

    def test_an_error_queue_without_end_is_an_error(self, peer):
        supply = ScpiSupply(peer.port, described())
        endless = [(b"SYST:ERR?\n", b'-350,"Queue overflow"\n')] * 32
        with (
            peer.expects(IDN, OFF, *endless),
            pytest.raises(CommandRefusedError, match=r"not empty after 32 questions.*-350"),
        ):
            supply.open()

    def test_again_switches_off_again(self, peer):
        with opened(peer) as supply, peer.expects(*OPENING):
            supply.open()

    def test_a_missing_port_is_told(self):
        with pytest.raises(PortUnavailableError, match="no such port"):
            ScpiSupply("/dev/ttyUSB-none", described()).open()


class TestReading:
    def test_takes_two_questions_and_the_time_between_the_first_and_its_answer(self, peer):
        clock = itertools.count(100.0, 0.5)
        with opened(peer, now=lambda: next(clock)) as supply, peer.expects(*READING):
            assert supply.read() == Reading(100.25, 2.5, 3.1)

    def test_takes_one_question_where_the_supply_has_one_for_both(self, peer):
        description = described(
            words={"measure_both": "MEAS:ALL?"},
            replies={"both_order": "voltage, current", "both_separator": ";"},
        )
        clock = itertools.count(100.0, 0.5)
        with (
            opened(peer, description, now=lambda: next(clock)) as supply,
            peer.expects((b"MEAS:ALL?\n", b"3.10;2.500\n")),
        ):
            assert supply.read() == Reading(100.25, 2.5, 3.1)

    def test_understands_units_in_replies(self, peer):
        with (
            opened(peer, described(replies={"units": "always"})) as supply,
            peer.expects((b"MEAS:CURR?\n", b"850mA\n"), (b"MEAS:VOLT?\n", b"12.3V\n")),
        ):
            assert supply.read() == Reading(0.0, pytest.approx(0.85), 12.3)

    def test_a_unit_of_the_other_question_gives_a_swapped_reply_away(self, peer):
        with (
            opened(peer, described(replies={"units": "always"})) as supply,
            peer.expects((b"MEAS:CURR?\n", b"12.3V\n")),
            pytest.raises(GarbledReplyError, match=r"12\.3V"),
        ):
            supply.read()

    @pytest.mark.parametrize("reply", [b"9.91E37\n", b"9.9E37\n", b"-9.9E37\n"])
    def test_not_a_number_is_no_reading(self, peer, reply):
        with (
            opened(peer) as supply,
            peer.expects((b"MEAS:CURR?\n", reply)),
            pytest.raises(GarbledReplyError, match="measured no value"),
        ):
            supply.read()

    def test_asks_for_the_output_as_often_as_described(self, peer):
        reading = load_description("scpi99").reading.model_copy(update={"output_every_reads": 3})
        with (
            opened(peer, described(reading=reading)) as supply,
            peer.expects(*READING, IS_ON, *READING, *READING, *READING, IS_OFF),
        ):
            states = [supply.read().output_on for _ in range(4)]
        assert states == [True, None, None, False]

    def test_after_a_late_reply_the_next_reading_is_right(self, peer):
        with opened(peer) as supply:
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            peer.send(b"9.0\n")
            with peer.expects(IDN, *READING):
                assert supply.read().current_a == 2.5

    def test_a_pulled_plug_is_told_and_opening_again_needs_the_port(self, peer):
        with opened(peer) as supply:
            peer.pull_out()
            with pytest.raises(PortUnavailableError):
                supply.read()
            with pytest.raises(PortUnavailableError):
                supply.open()


class TestMode:
    STATUS = ModeByStatusTable(
        every_reads=2, query="STAT:QUES:COND?", mask=3, constant_current=1, constant_voltage=2
    )

    @pytest.mark.parametrize(
        ("register", "mode"),
        [
            (b"1\n", Mode.CONSTANT_CURRENT),
            (b"2\n", Mode.CONSTANT_VOLTAGE),
            (b"+18\n", Mode.CONSTANT_VOLTAGE),
            (b"0\n", None),
            (b"3\n", None),
        ],
    )
    def test_is_told_by_a_register_where_there_is_one(self, peer, register, mode):
        description = described(mode_by_status=self.STATUS, mode_by_nearness=None)
        with (
            opened(peer, description) as supply,
            peer.expects(*READING, (b"STAT:QUES:COND?\n", register), *READING),
        ):
            assert supply.read().mode is mode
            assert supply.read().mode is None

    def test_a_register_that_is_no_number_is_garbled(self, peer):
        description = described(mode_by_status=self.STATUS, mode_by_nearness=None)
        with (
            opened(peer, description) as supply,
            peer.expects(*READING, (b"STAT:QUES:COND?\n", b"CC\n")),
            pytest.raises(GarbledReplyError, match="whole number"),
        ):
            supply.read()

    @pytest.mark.parametrize(
        ("current", "voltage", "mode"),
        [
            (b"2.49\n", b"3.10\n", Mode.CONSTANT_CURRENT),
            (b"1.20\n", b"11.98\n", Mode.CONSTANT_VOLTAGE),
            (b"2.50\n", b"12.00\n", None),
            (b"1.20\n", b"3.10\n", None),
        ],
    )
    def test_is_inferred_from_the_set_point_that_is_near(self, peer, current, voltage, mode):
        with (
            holding(peer) as supply,
            peer.expects((b"MEAS:CURR?\n", current), (b"MEAS:VOLT?\n", voltage)),
        ):
            assert supply.read().mode is mode

    def test_is_not_inferred_from_set_points_of_nothing(self, peer):
        with opened(peer) as supply:
            exchanges = (*HELD_0_AND_0, *setting("CURR", "0.000", "0"), *SET_12_V)
            with peer.expects(*exchanges):
                supply.set_points(0.0, 12.0)
            with peer.expects((b"MEAS:CURR?\n", b"0.000\n"), (b"MEAS:VOLT?\n", b"0.00\n")):
                assert supply.read().mode is None

    def test_is_unknown_before_anything_is_set_and_without_a_way_to_tell(self, peer):
        with opened(peer) as supply, peer.expects(*READING):
            assert supply.read().mode is None
        with (
            holding(peer, described(mode_by_nearness=None)) as supply,
            peer.expects(*READING),
        ):
            assert supply.read().mode is None


class TestSetPoints:
    def test_each_is_sent_checked_for_errors_and_read_back(self, peer):
        with holding(peer):
            pass

    def test_what_is_unchanged_is_not_sent_again(self, peer):
        with holding(peer) as supply:
            with peer.expects():
                supply.set_points(2.5, 12.0)
                supply.set_points(2.5001, 12.0)
            with peer.expects(*setting("CURR", "2.600", "2.6")):
                supply.set_points(2.6, 12.0)

    @pytest.mark.parametrize(
        ("current_a", "voltage_v", "order"),
        [
            (1.0, 15.0, [setting("CURR", "1.000", "1"), setting("VOLT", "15.000", "15")]),
            (3.0, 10.0, [setting("VOLT", "10.000", "10"), setting("CURR", "3.000", "3")]),
        ],
    )
    def test_what_is_lowered_is_lowered_first(self, peer, current_a, voltage_v, order):
        with holding(peer) as supply, peer.expects(*order[0], *order[1]):
            supply.set_points(current_a, voltage_v)

    def test_nothing_is_raised_when_lowering_was_refused(self, peer):
        refused = (b"SYST:ERR?\n", b'-222,"Data out of range"\n')
        with (
            holding(peer) as supply,
            peer.expects((b"VOLT 10.000\n", b""), refused, NO_ERROR),
            pytest.raises(CommandRefusedError, match=r"VOLT 10\.000: refused: -222"),
        ):
            supply.set_points(3.0, 10.0)

    def test_all_errors_of_a_refused_one_are_told(self, peer):
        with (
            holding(peer) as supply,
            peer.expects(
                (b"CURR 3.000\n", b""),
                (b"SYST:ERR?\n", b'-222,"Data out of range"\n'),
                (b"SYST:ERR?\n", b'-221,"Settings conflict"\n'),
                NO_ERROR,
            ),
            pytest.raises(CommandRefusedError, match='-222,"Data out of range"; -221,'),
        ):
            supply.set_points(3.0, 12.0)

    def test_a_clipped_one_is_refused_and_sent_anew_the_next_time(self, peer):
        with holding(peer) as supply:
            with (
                peer.expects(*setting("CURR", "4.000", "3.000")),
                pytest.raises(SetPointRefusedError, match="set to 4 A, but the supply holds 3 A"),
            ):
                supply.set_points(4.0, 12.0)
            held = ((b"CURR?\n", b"3\n"), (b"VOLT?\n", b"12\n"))
            with peer.expects(*held, *SET_2_5_A, *SET_12_V):
                supply.set_points(2.5, 12.0)

    def test_a_difference_of_one_step_is_rounding_and_more_is_not(self, peer):
        with holding(peer) as supply:
            with peer.expects(*setting("CURR", "2.601", "2.602")):
                supply.set_points(2.601, 12.0)
            with (
                peer.expects(*setting("CURR", "2.700", "2.7011")),
                pytest.raises(SetPointRefusedError),
            ):
                supply.set_points(2.7, 12.0)

    @pytest.mark.parametrize(
        ("current_a", "voltage_v", "allowed"),
        [
            (5.001, 12.0, "current: cannot be set to 5.001 A; allowed: 0 to 5 A"),
            (-0.1, 12.0, "current: cannot be set to -0.1 A"),
            (float("nan"), 12.0, "current: cannot be set to nan A"),
            (1.0, 30.5, "voltage: cannot be set to 30.5 V; allowed: 0 to 30 V"),
            (1.0, float("inf"), "voltage: cannot be set to inf V"),
        ],
    )
    def test_nothing_is_sent_that_is_beyond_the_rating(self, peer, current_a, voltage_v, allowed):
        with holding(peer) as supply:
            with peer.expects(), pytest.raises(SetPointRefusedError, match=allowed):
                supply.set_points(current_a, voltage_v)
            with peer.expects():
                supply.set_points(2.5, 12.0)

    def test_after_a_failed_reading_they_are_sent_anew(self, peer):
        with holding(peer) as supply:
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            held = ((b"CURR?\n", b"0\n"), (b"VOLT?\n", b"30\n"))
            # The supply has restarted with 30 V: so the voltage is what has to come down first.
            with peer.expects(IDN, NO_ERROR, *held, *SET_12_V, *SET_2_5_A):
                supply.set_points(2.5, 12.0)

    def test_an_error_that_a_resync_leaves_behind_is_not_blamed_on_them(self, peer):
        empty_line = (b"SYST:ERR?\n", b'-100,"Command error"\n')
        with holding(peer) as supply:
            peer.send(b"noise\n")
            with peer.expects(IDN, *READING):
                supply.read()
            with peer.expects(empty_line, NO_ERROR, *setting("CURR", "3.000", "3")):
                supply.set_points(3.0, 12.0)
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            held = ((b"CURR?\n", b"2.5\n"), (b"VOLT?\n", b"12\n"))
            with peer.expects(IDN, empty_line, NO_ERROR, *held, *SET_2_5_A, *SET_12_V):
                supply.set_points(2.5, 12.0)


class TestOutput:
    ON = (b"OUTP ON\n", b"")

    def test_is_switched_and_read_back(self, peer):
        with opened(peer) as supply:
            with peer.expects(self.ON, IS_ON, NO_ERROR):
                supply.output(on=True)
            with peer.expects(OFF, IS_OFF, NO_ERROR):
                supply.output(on=False)

    @pytest.mark.parametrize(
        ("on", "command", "state"),
        [(True, ON, IS_OFF), (False, OFF, IS_ON)],
    )
    def test_that_did_not_switch_is_an_error(self, peer, on, command, state):
        error = (b"SYST:ERR?\n", b'-203,"Command protected"\n')
        with (
            opened(peer) as supply,
            peer.expects(command, state, error, NO_ERROR),
            pytest.raises(CommandRefusedError, match=r"the output is .*; errors: -203"),
        ):
            supply.output(on=on)

    def test_that_is_on_with_an_error_is_an_error(self, peer):
        error = (b"SYST:ERR?\n", b'-330,"Self-test failed"\n')
        with (
            opened(peer) as supply,
            peer.expects(self.ON, IS_ON, error, NO_ERROR),
            pytest.raises(CommandRefusedError, match="OUTP ON: the output is on; errors: -330"),
        ):
            supply.output(on=True)

    def test_that_is_off_is_off_whatever_the_supply_complains_about(self, peer):
        error = (b"SYST:ERR?\n", b'-100,"Command error"\n')
        with opened(peer) as supply, peer.expects(OFF, IS_OFF, error, NO_ERROR):
            supply.output(on=False)

    def test_off_is_said_before_the_line_is_brought_into_step(self, peer):
        with opened(peer) as supply:
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            with peer.expects((b"\nOUTP OFF\n", b""), IDN, IS_OFF, NO_ERROR):
                supply.output(on=False)

    def test_on_is_said_only_when_the_line_is_in_step(self, peer):
        with opened(peer) as supply:
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            with peer.expects(IDN, NO_ERROR, self.ON, IS_ON, NO_ERROR):
                supply.output(on=True)

    def test_an_unanswered_switch_forgets_the_set_points(self, peer):
        with holding(peer) as supply:
            with peer.expects(OFF, (b"OUTP?\n", b"")), pytest.raises(NoReplyError):
                supply.output(on=False)
            with peer.expects(
                IDN, NO_ERROR, (b"CURR?\n", b"2.5\n"), (b"VOLT?\n", b"12\n"), *SET_2_5_A, *SET_12_V
            ):
                supply.set_points(2.5, 12.0)


class TestClosing:
    def test_says_nothing_about_the_output(self, peer):
        with opened(peer) as supply, peer.expects():
            supply.close()
            supply.close()

    def test_gives_the_keys_back_where_the_supply_has_a_word_for_it(self, peer):
        with (
            opened(peer, described(words={"local": "SYST:LOC"})) as supply,
            peer.expects((b"SYST:LOC\n", b"")),
        ):
            supply.close()
            supply.close()

    def test_gives_the_keys_back_after_a_failure_too(self, peer):
        with opened(peer, described(words={"local": "SYST:LOC"})) as supply:
            with peer.expects((b"MEAS:CURR?\n", b"")), pytest.raises(NoReplyError):
                supply.read()
            with peer.expects((b"\nSYST:LOC\n", b"")):
                supply.close()

    def test_does_not_raise_when_the_plug_is_out(self, peer):
        with opened(peer, described(words={"local": "SYST:LOC"})) as supply:
            peer.pull_out()
            supply.close()


def test_a_supply_that_echoes_is_driven_like_any_other(peer):
    def echoed(exchange):
        request, reply = exchange
        return request, request + reply

    with opened(peer, described(line={"echo": True}), map(echoed, OPENING)) as supply:
        assert supply.identity == "TANK,ONE,1,1.0"
        with peer.expects(*map(echoed, (*READING, *HELD_0_AND_0, *SET_2_5_A, *SET_12_V))):
            assert supply.read().current_a == 2.5
            supply.set_points(2.5, 12.0)
