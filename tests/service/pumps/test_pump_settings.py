"""The settings of a dosing pump: what is read, and each thing that is refused, in one sentence."""

import pytest

from daemon.api.errors import InputError
from daemon.service.pumps.assembly import make_doser
from daemon.service.settings.file import read_settings

BATH = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "Acid copper"
volume = "15 L"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
dose = "5 mL"
[[bath.additive]]
name = "carrier"
[contactor]
heartbeat_pin = 17
[[interlock]]
name = "level"
pin = 13
stop = "hold"
"""
PUMP = """\
[[pump]]
additive = "brightener"
pin = 24
flow = "1.2 mL/s"
greatest_dose = "8 mL"
most_a_day = "20 mL"
level = "level"
"""


@pytest.fixture
def write(tmp_path):
    def write(text):
        path = tmp_path / "settings.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def test_a_pump_as_it_is_read(write):
    settings = read_settings(write(BATH + PUMP.replace("1.2 mL/s", "72 mL/min")))
    (pump,) = settings.pump
    assert (pump.additive, pump.pin, pump.level) == ("brightener", 24, "level")
    assert (pump.flow, pump.pause, pump.drop_out) == (pytest.approx(1.2), 600.0, 0.5)
    assert settings.has_pins


@pytest.mark.parametrize(
    ("dose", "greatest", "given_ml"),
    [('dose = "5 mL"\n', "8 mL", 5.0), ('dose = "5 mL"\n', "4 mL", 4.0), ("", "8 mL", 8.0)],
)
def test_it_gives_the_additives_dose_and_never_more_than_its_greatest(
    write, dose, greatest, given_ml
):
    text = BATH.replace('dose = "5 mL"\n', dose) + PUMP.replace("8 mL", greatest)
    settings = read_settings(write(text))
    rules = settings.pump[0].rules(settings.bath.description().additives[0], 0.05)
    assert rules.dose_ml == given_ml


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('level = "level"\n', "", "pump[1].level is missing: the name of the [[interlock]] that"),
        (
            'level = "level"',
            'level = "lid"',
            "pump[1].level: must be the name of an [[interlock]] that opens when the level is low, "
            "got 'lid'; [[interlock]] tables: level",
        ),
        (
            'additive = "brightener"',
            'additive = "brightner"',
            "pump[1].additive: no such [[bath.additive]]: 'brightner'; known: brightener, carrier",
        ),
        (
            'additive = "brightener"',
            'additive = "carrier"',
            "pump[1].additive: 'carrier' has no rate in its [[bath.additive]]",
        ),
        ("pin = 24", "pin = 13", "GPIO13 may be moved by SPI, the serial console, PWM or audio"),
        ("pin = 24", "pin = 3", "allowed for a dosing pump: 16, 17, 20, 21, 22, 23, 24"),
        (
            "pin = 24",
            "pin = 17",
            "GPIO17 is given twice: contactor.heartbeat_pin and the pump of 'brightener'",
        ),
        ('"1.2 mL/s"', '"1.2 mL"', 'pump[1].flow: expected a flow such as "1.2 mL/s", got "1.2 mL'),
        ('"1.2 mL/s"', '"-1 mL/s"', "pump[1].flow: must be above 0 mL/s, got -1 mL/s"),
        ('"1.2 mL/s"', '"0 mL/s"', "pump[1].flow: must be above 0 mL/s"),
        ('"8 mL"', '"8 g"', "pump[1].greatest_dose: expected a volume"),
        ('"8 mL"', '"1 L"', "pump[1].greatest_dose: brightener: 1000 mL at once is more than 15 L"),
        ('"20 mL"', '"20 L"', "pump[1].most_a_day: brightener: 20000 mL at once is more than 15 L"),
        ('"20 mL"', '"4 mL"', "pump[1].most_a_day must be at least a dose of 5 mL, got 4 mL"),
        ('"1.2 mL/s"', '"4 mL/s"', "pump[1]: a dose of 5 mL at 4 mL/s takes 1.2 s, and must last"),
        ('"level"', '"level"\ndrop_out = "0.1 s"', "drop_out must be at least 0.25 s, got 0.1 s"),
        ('"level"', '"level"\npause = "0 s"', "pump[1].pause: must be above 0 s"),
        ('"level"', '"level"\npuase = "9 s"', "pump[1].puase is an unknown key (did you mean pau"),
        ("[[pump]]", PUMP + "[[pump]]", "GPIO24 is given twice"),
        (
            "[[pump]]",
            PUMP.replace("24", "25") + "[[pump]]",
            "pump[2].additive: 'brightener' has a pump already",
        ),
    ],
)
def test_what_is_refused_is_told_in_one_sentence(write, old, new, words):
    with pytest.raises(InputError) as refused:
        read_settings(write(BATH + PUMP.replace(old, new, 1)))
    assert words in str(refused.value)
    assert len(str(refused.value).splitlines()) == 1


def test_without_any_interlock_there_is_no_pump(write):
    text = BATH.split("[[interlock]]")[0] + PUMP
    with pytest.raises(InputError, match="tables: there is none, and no pump without one"):
        read_settings(write(text))


def test_settings_without_pumps_have_none(write):
    settings = read_settings(write(BATH))
    assert settings.pump == ()
    doser = make_doser(settings, None, settings.cause_and_effect(), None)
    assert doser.seen == ()
