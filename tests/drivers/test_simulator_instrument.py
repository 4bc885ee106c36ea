"""The simulated supply's SCPI, message by message, on a virtual clock."""

import pytest

from drivers.simulator.bench import Bench
from drivers.simulator.instrument import ScpiInstrument, spellings
from drivers.simulator.parameters import PartParameters, SupplyParameters
from drivers.simulator.scenario import Scenario

QUIET = Scenario(
    parts=(PartParameters(paint_ohm_per_sq=0),),
    supply=SupplyParameters(current_noise_a=0.0, voltage_noise_v=0.0),
)


class Peer:
    """An instrument on a clock of its own."""

    def __init__(self, scenario: Scenario = QUIET) -> None:
        self.now_s = 100.0
        self.bench = Bench(scenario, self.now_s)
        self.instrument = ScpiInstrument(self.bench, lambda: self.now_s)

    def __call__(self, message: str, after_s: float = 0.0) -> str:
        self.now_s += after_s
        return self.instrument.answer(message)

    def errors(self) -> list[int]:
        codes = []
        while (reply := self("SYST:ERR?")) != '0,"No error"':
            codes.append(int(reply.split(",")[0]))
        return codes


@pytest.fixture
def peer() -> Peer:
    return Peer()


def test_spellings_are_short_and_long_with_and_without_the_optional() -> None:
    assert spellings("OUTPut[:STATe]?") == [
        ":OUTP:STAT?",
        ":OUTP:STATE?",
        ":OUTP?",
        ":OUTPUT:STAT?",
        ":OUTPUT:STATE?",
        ":OUTPUT?",
        "OUTP:STAT?",
        "OUTP:STATE?",
        "OUTP?",
        "OUTPUT:STAT?",
        "OUTPUT:STATE?",
        "OUTPUT?",
    ]
    assert spellings("*IDN?") == ["*IDN?"]


def test_identity_has_four_fields(peer: Peer) -> None:
    assert peer("*IDN?") == "tankhand,simulated supply,0,1"


@pytest.mark.parametrize(
    "question",
    [
        "MEAS:CURR?",
        "meas:curr?",
        "MEASure:CURRent:DC?",
        ":MEASURE:SCALAR:CURRENT:DC?",
        " meas:curr? ",
    ],
)
def test_current_in_every_spelling(peer: Peer, question: str) -> None:
    peer("CURR 2.5;VOLT 6;OUTP ON")
    assert peer(question, after_s=5.0) == "2.5000"


def test_a_run_by_scpi(peer: Peer) -> None:
    assert peer("SOUR:CURR 2.5") == ""
    assert peer("SOURce:VOLTage:LEVel:IMMediate:AMPLitude 6.25") == ""
    assert peer("CURR?") == "2.500"
    assert peer("VOLT?") == "6.25"
    assert peer("OUTP?") == "0"
    assert peer("STAT:QUES:COND?") == "0"
    assert peer("OUTPut:STATe ON") == ""
    assert peer("OUTP?", after_s=5.0) == "1"
    assert peer("MEAS:CURR?") == "2.5000"
    assert float(peer("MEAS:VOLT?")) == pytest.approx(peer.bench.tank.voltage_at(2.5), abs=0.0006)
    assert peer("STATus:QUEStionable:CONDition?") == "1"
    peer("VOLT 0.5")
    assert peer("STAT:QUES:COND?", after_s=5.0) == "2"
    assert peer("MEAS:VOLT?") == "0.500"
    assert peer("OUTP 0") == ""
    assert peer("MEAS:CURR?;MEAS:VOLT?;OUTP?", after_s=5.0) == "0.0000;0.000;0"
    assert peer.errors() == []


@pytest.mark.parametrize(
    ("message", "code", "status"),
    [
        ("FLOOD ON", -113, 32),
        ("MEAS:CURR", -113, 32),
        ("CURR", -109, 32),
        ("OUTP", -109, 32),
        ("OUTP MAYBE", -104, 32),
        ("CURR LOTS", -104, 32),
        ("CURR -", -104, 32),
        ("CURR? LOTS", -104, 32),
        ("CURR 1 V", -131, 32),
        ("CURR 1_0", -131, 32),
        ("MEAS:CURR? 3", -108, 32),
        ("*CLS 1", -108, 32),
        ("CURR 5.001", -222, 16),
        ("VOLT -1", -222, 16),
        ("CURR 1E999", -222, 16),
    ],
)
def test_what_is_wrong_goes_into_the_queue(
    peer: Peer, message: str, code: int, status: int
) -> None:
    peer("CURR 2;VOLT 6;*ESR?")
    assert peer(message) == ""
    assert peer("*ESR?") == str(status)
    assert peer.errors() == [code]
    assert peer("CURR?;VOLT?;OUTP?") == "2.000;6.00;0"


def test_error_text(peer: Peer) -> None:
    peer("NONSENSE")
    assert peer("SYSTem:ERRor:NEXT?") == '-113,"Undefined header"'
    assert peer("SYST:ERR?") == '0,"No error"'


def test_errors_come_in_order_and_overflow_at_the_end(peer: Peer) -> None:
    peer("CURR 99")
    for _ in range(25):
        peer("NONSENSE")
    assert peer.errors() == [-222, *[-113] * 18, -350]


def test_clear_empties_the_queue_and_the_status(peer: Peer) -> None:
    peer("NONSENSE")
    peer("*CLS")
    assert peer.errors() == []
    assert peer("*ESR?") == "0"


def test_event_status_tells_power_on_once_and_operation_complete(peer: Peer) -> None:
    assert peer("*ESR?") == "128"
    assert peer("*ESR?") == "0"
    assert peer("*OPC?") == "1"
    peer("*OPC")
    assert peer("*ESR?") == "1"


@pytest.mark.parametrize(
    ("sent", "reads"),
    [("1.5", "1.500"), ("1.5A", "1.500"), ("1.5 a", "1.500"), ("+15E-1", "1.500"), (".5", "0.500"),
     ("MAX", "5.000"), ("minimum", "0.000")],
)  # fmt: skip
def test_numbers(peer: Peer, sent: str, reads: str) -> None:
    peer(f"CURR {sent}")
    assert peer("CURR?") == reads
    assert peer.errors() == []


def test_limits_can_be_asked(peer: Peer) -> None:
    assert peer("CURR? MAX;VOLT? MAX;CURR? MIN") == "5.000;30.00;0.000"


def test_a_clipping_supply_reads_back_its_rating() -> None:
    peer = Peer(Scenario(supply=SupplyParameters(beyond_rating="clip")))
    peer("CURR 7")
    assert peer("CURR?") == "5.000"
    assert peer.errors() == []


def test_reset_makes_the_supply_safe(peer: Peer) -> None:
    peer("CURR 2;VOLT 6;OUTP ON")
    peer("*RST", after_s=5.0)
    assert peer("OUTP?;CURR?;VOLT?") == "0;0.000;0.00"


def test_empty_and_foreign_messages_do_no_harm(peer: Peer) -> None:
    assert peer("") == ""
    assert peer(" ; ;") == ""
    assert peer.errors() == []
    assert peer("\ufffd\ufffd") == ""
    assert peer.errors() == [-113]
