"""What the detectors have to see, as the settings may change it."""

from dataclasses import fields

import pytest
from click.testing import CliRunner

from daemon.control.protection.detectors.cell_thresholds import CellThresholds
from daemon.control.protection.detectors.thresholds import Thresholds
from daemon.control.situation import Limits
from daemon.service.commands.cli import main
from daemon.service.cycle.watching import make_watch
from daemon.service.settings.file import read_settings
from daemon.service.settings.thresholds import Chosen, chosen

SETTINGS = 'supply = { port = "none" }\nbath = { name = "bath A" }\n[thresholds]\n'


@pytest.fixture
def write(tmp_path):
    def write(text):
        path = tmp_path / "settings.toml"
        path.write_text(SETTINGS + text, encoding="utf-8")
        return path

    return write


def test_without_any_the_defaults_hold(write):
    assert read_settings(write("")).chosen_thresholds() == Chosen()


@pytest.mark.parametrize(
    ("text", "part", "name", "value"),
    [
        ('bath_hot = "34 °C"', "plain", "bath_hot_c", 34.0),
        ('bath_cold = "-3 °C"', "plain", "bath_cold_c", -3.0),
        ('bath_deadband = "1.5 K"', "plain", "bath_deadband_k", 1.5),
        ('over_share = "20 %"', "plain", "over_share", 0.2),
        ('over_least = "50 mA"', "plain", "over_least_a", 0.05),
        ('open_on = "700 ms"', "plain", "open_on_s", 0.7),
        ('short = "300 mV"', "plain", "short_v", 0.3),
        ('cell = "0.2 Ω·dm²"', "plain", "cell_ohm_dm2", 0.2),
        ('disk_least = "1 GB"', "plain", "disk_least_mb", 1000.0),
        ('ripple = "12 %"', "plain", "ripple_percent", 12.0),
        ("frozen_least_readings = 9", "plain", "frozen_least_readings", 9),
        ('drift_bath = "5 %/h"', "cell", "drift_bath_per_h", 0.05),
        ('jump_share = "4 %/s"', "cell", "jump_share_per_s", 0.04),
        ('part_least = "3 %"', "cell", "part_least", 0.03),
        ("step_sigmas = 7.5", "cell", "step_sigmas", 7.5),
    ],
)
def test_each_is_read_in_its_unit_and_the_others_stay(write, text, part, name, value):
    found = getattr(read_settings(write(text)).chosen_thresholds(), part)
    assert getattr(found, name) == pytest.approx(value)
    default = {"plain": Thresholds, "cell": CellThresholds}[part]()
    changed = [
        each.name for each in fields(found)
        if getattr(found, each.name) != getattr(default, each.name)
    ]  # fmt: skip
    assert changed == [name]


def test_what_both_kinds_of_detectors_know_is_one_threshold():
    both = chosen({"zero": "50 mA"})
    assert (both.plain.zero_a, both.cell.zero_a) == (0.05, 0.05)


def test_every_threshold_has_a_key_of_its_own_which_reads_what_is_listed():
    listed = Chosen().listed()
    assert len(listed) == len(fields(Thresholds)) + len(fields(CellThresholds)) - 1
    for each in listed:
        whole = each.value == int(each.value) and not each.unit
        written = int(each.value) if whole else each.value
        text = f"{each.value!r} {each.unit}" if each.unit else written
        assert chosen({each.key: text}) == Chosen(), each


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('bath_hott = "34 °C"', "thresholds.bath_hott: there is no such threshold; did you mean"),
        ('colour = "red"', "`tankhand thresholds` lists them"),
        ('bath_hot = "34 V"', 'thresholds.bath_hot: expected a temperature such as "24 °C", got'),
        ("bath_hot = 34", "a number without a unit"),
        ('bath_hot = "17 °C"', "bath_cold must be below bath_hot, got 18 °C and 17 °C"),
        ('ripple = "5 %"', "ripple_back must be below ripple, got 8 % and 5 %"),
        ('open_on = "-1 s"', "thresholds.open_on: must be at least 0 s, got '-1 s'"),
        ("step_side = 2.5", "thresholds.step_side: expected a whole number above 0, got 2.5"),
        ("step_side = true", "expected a whole number above 0, got True"),
    ],
)
def test_what_cannot_be_is_refused_with_its_key(write, text, said):
    done = CliRunner().invoke(main, ["thresholds", "--settings", str(write(text))])
    assert done.exit_code == 2
    (line,) = done.output.splitlines()
    assert said in line


def test_they_are_listed_and_what_is_changed_is_marked(write):
    path = str(write('bath_hot = "34 °C"\nover_share = "20 %"'))
    done = CliRunner().invoke(main, ["thresholds", "--settings", path])
    lines = done.output.splitlines()
    assert done.exit_code == 0
    assert 'bath_hot = "34 °C"   # default 30 °C' in lines
    assert 'bath_cold = "18 °C"' in lines
    assert len(lines) > 80
    done = CliRunner().invoke(main, ["thresholds", "--changed", "--settings", path])
    assert done.output.splitlines() == [
        "over_share = 0.2   # default 0.1", 'bath_hot = "34 °C"   # default 30 °C',
    ]  # fmt: skip


def test_the_watch_and_the_lookout_are_made_with_them(mocker):
    made = mocker.patch("daemon.service.cycle.watching.electrical_detectors", return_value=())
    make_watch(Limits(), chosen({"over_share": "20 %"}))
    (plain,) = made.call_args.args
    assert plain.over_share == 0.2
