"""The simulated supply's SCPI side: program messages in, response messages out, no line, no clock.

Written after SCPI-1999 and IEEE 488.2. Status convention: STAT:QUES:COND? has bit 0 (value 1) in
constant current and bit 1 (value 2) in constant voltage, 0 with the output off. Each command of a
message joined by semicolons starts from the root of the command tree.
"""

import re
from collections import deque
from collections.abc import Callable
from itertools import product

from drivers.contracts import Mode
from drivers.simulator.bench import Bench
from drivers.simulator.power import OutOfRangeError

IDENTITY = "tankhand,simulated supply,0,1"
QUEUE_LENGTH = 20
CONSTANT_CURRENT_BIT = 1
CONSTANT_VOLTAGE_BIT = 2

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(E[+-]?\d+)?", re.ASCII | re.IGNORECASE)

POWER_ON, COMMAND_ERROR, EXECUTION_ERROR, DEVICE_ERROR, OPERATION_COMPLETE = 128, 32, 16, 8, 1
"""Bits of the standard event status register, IEEE 488.2."""

ERRORS = {
    -104: "Data type error",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -113: "Undefined header",
    -131: "Invalid suffix",
    -222: "Data out of range",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
}


class ScpiError(Exception):
    """What goes into the error queue: a code of `ERRORS`."""

    def __init__(self, code: int) -> None:
        super().__init__(f'{code},"{ERRORS[code]}"')
        self.code = code


def spellings(pattern: str) -> list[str]:
    """Every upper-case spelling of a header such as "[SOURce:]CURRent[:LEVel]?".

    Capitals are the short form, brackets may be left out; a leading colon is accepted too.
    """
    choices: list[set[str]] = []
    for optional, word in re.findall(r"(\[?):?([*A-Za-z]+)", pattern):
        short = "".join(letter for letter in word if not letter.islower())
        choices.append({word.upper(), short} | ({""} if optional else set()))
    query = "?" if pattern.endswith("?") else ""
    headers = {":".join(filter(None, words)) + query for words in product(*choices)}
    return sorted(headers | {":" + header for header in headers if not header.startswith("*")})


class ScpiInstrument:
    """The supply of a `Bench` as an instrument; `now` gives seconds on the bench's time line."""

    def __init__(self, bench: Bench, now: Callable[[], float]) -> None:
        self._bench = bench
        self._supply = bench.supply
        self._now = now
        self._errors: deque[int] = deque()
        self._event_status = POWER_ON
        self._queries: dict[str, Callable[[str], str]] = {}
        self._commands: dict[str, Callable[[str], None]] = {}
        self._describe_queries()
        self._describe_commands()

    def _describe_queries(self) -> None:
        supply, p = self._supply, self._supply.parameters
        level = "[:LEVel][:IMMediate][:AMPLitude]?"
        for pattern, answer in (
            ("*IDN?", _plain(lambda: IDENTITY)),
            ("*ESR?", _plain(self._read_event_status)),
            ("*OPC?", _plain(lambda: "1")),
            ("MEASure[:SCALar]:CURRent[:DC]?", _plain(self._measured_current)),
            ("MEASure[:SCALar]:VOLTage[:DC]?", _plain(self._measured_voltage)),
            (
                f"[SOURce:]CURRent{level}",
                lambda text: _set_point(text, supply.current_set_a, p.current_a, p.current_step_a),
            ),
            (
                f"[SOURce:]VOLTage{level}",
                lambda text: _set_point(text, supply.voltage_set_v, p.voltage_v, p.voltage_step_v),
            ),
            ("OUTPut[:STATe]?", _plain(lambda: "1" if supply.output_on else "0")),
            ("STATus:QUEStionable:CONDition?", _plain(self._questionable)),
            ("SYSTem:ERRor[:NEXT]?", _plain(self._next_error)),
        ):
            self._queries |= dict.fromkeys(spellings(pattern), answer)

    def _describe_commands(self) -> None:
        supply, p = self._supply, self._supply.parameters
        level = "[:LEVel][:IMMediate][:AMPLitude]"
        for pattern, command in (
            ("*CLS", _bare(self._clear)),
            ("*RST", _bare(self._reset)),
            ("*OPC", _bare(lambda: self._raise_status(OPERATION_COMPLETE))),
            (
                f"[SOURce:]CURRent{level}",
                lambda text: supply.program_current(_number(text, "A", p.current_a)),
            ),
            (
                f"[SOURce:]VOLTage{level}",
                lambda text: supply.program_voltage(_number(text, "V", p.voltage_v)),
            ),
            ("OUTPut[:STATe]", lambda text: supply.switch(_boolean(text))),
        ):
            self._commands |= dict.fromkeys(spellings(pattern), command)

    def answer(self, message: str) -> str:
        """Carry out one program message; its response without a terminator, "" if there is none."""
        self._bench.advance_to(self._now())
        replies = []
        for unit in message.split(";"):
            header, _, parameter = unit.strip().partition(" ")
            if header:
                try:
                    reply = self._carry_out(header.upper(), parameter.strip())
                except ScpiError as error:
                    self.report(error.code)
                except OutOfRangeError:
                    self.report(-222)
                else:
                    replies += [reply] if reply else []
        return ";".join(replies)

    def _carry_out(self, header: str, parameter: str) -> str:
        query = self._queries.get(header)
        if query is not None:
            return query(parameter)
        command = self._commands.get(header)
        if command is None:
            raise ScpiError(-113)
        command(parameter)
        return ""

    # Status.

    def report(self, code: int) -> None:
        """Put an error into the queue; when it is full the newest entry becomes an overflow."""
        self._raise_status(_status_bit(code))
        if len(self._errors) < QUEUE_LENGTH:
            self._errors.append(code)
        else:
            self._errors[-1] = -350

    def _raise_status(self, bit: int) -> None:
        self._event_status |= bit

    def _next_error(self) -> str:
        code = self._errors.popleft() if self._errors else 0
        return f'{code},"{ERRORS[code] if code else "No error"}"'

    def _read_event_status(self) -> str:
        status, self._event_status = self._event_status, 0
        return str(status)

    def _clear(self) -> None:
        self._errors.clear()
        self._event_status = 0

    def _reset(self) -> None:
        self._supply.switch(False)
        self._supply.program_current(0.0)
        self._supply.program_voltage(0.0)

    def _questionable(self) -> str:
        mode = self._supply.mode
        if mode is None:
            return "0"
        return str(CONSTANT_CURRENT_BIT if mode is Mode.CONSTANT_CURRENT else CONSTANT_VOLTAGE_BIT)

    # Measurement.

    def _measured_current(self) -> str:
        p = self._supply.parameters
        return _fixed(self._supply.measure().current_a, p.measured_current_step_a)

    def _measured_voltage(self) -> str:
        p = self._supply.parameters
        return _fixed(self._supply.measure().voltage_v, p.measured_voltage_step_v)


def _status_bit(code: int) -> int:
    if code > -200:
        return COMMAND_ERROR
    return EXECUTION_ERROR if code > -300 else DEVICE_ERROR


def _plain(read: Callable[[], str]) -> Callable[[str], str]:
    def query(parameter: str) -> str:
        if parameter:
            raise ScpiError(-108)
        return read()

    return query


def _bare(act: Callable[[], None]) -> Callable[[str], None]:
    def command(parameter: str) -> None:
        if parameter:
            raise ScpiError(-108)
        act()

    return command


def _set_point(parameter: str, value: float, greatest: float, step: float) -> str:
    if parameter:
        value = _limit(parameter, greatest)
    return _fixed(value, step)


def _limit(parameter: str, greatest: float) -> float:
    word = parameter.upper()
    if word in ("MAX", "MAXIMUM"):
        return greatest
    if word in ("MIN", "MINIMUM"):
        return 0.0
    raise ScpiError(-104)


def _number(parameter: str, unit: str, greatest: float) -> float:
    """A decimal number, with the unit behind it if one likes, or MIN or MAX."""
    if not parameter:
        raise ScpiError(-109)
    if parameter[0].isalpha():
        return _limit(parameter, greatest)
    found = NUMBER.match(parameter)
    if found is None:
        raise ScpiError(-104)
    if parameter[found.end() :].strip().upper() not in ("", unit):
        raise ScpiError(-131)
    return float(found[0])


def _boolean(parameter: str) -> bool:
    if not parameter:
        raise ScpiError(-109)
    word = parameter.upper()
    if word not in ("ON", "OFF", "1", "0"):
        raise ScpiError(-104)
    return word in ("ON", "1")


def _fixed(value: float, step: float) -> str:
    decimals = 0
    while decimals < 9 and abs(round(step, decimals) - step) > 1e-9 * step:
        decimals += 1
    return f"{value:.{decimals}f}"
