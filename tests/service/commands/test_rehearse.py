"""`tankhand rehearse` on settings and record files, without a daemon."""

import pytest
from click.testing import CliRunner

from daemon.api.socket.rehearsal import CurveMessage, RangeMessage, Rehearsal
from daemon.record.entries import BathEntered, Noted, RunEnded, RunOpened, Sample
from daemon.record.writer import Writer
from daemon.service.commands.cli import main

SETTINGS = """\
supply = { port = "none", greatest_current = "5 A" }
[bath]
name = "bath A"
volume = "12 L"
[[bath.additive]]
name = "brightener"
rate = "1 mL/Ah"
dose = "2 mL"
"""

# 25 µm on 2 dm² are 3.779 Ah (see test_walked.py), 56 min 41 s at 4 A and 1 min more by the ramp.
PLAN = """\
title = "Night"
area = "2 dm²"
target = "25 µm"
voltage_ceiling = "{ceiling}"
caps = {{ charge = "5 Ah", duration = "{cap}" }}
[[stage]]
name = "build"
current = "{current}"
ramp = "2 min"
"""


@pytest.fixture
def folder(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    monkeypatch.setenv("TZ", "UTC")
    return tmp_path


@pytest.fixture
def plan(folder):
    def plan(ceiling="6 V", cap="8 h", current="4 A"):
        path = folder / "plan.toml"
        path.write_text(PLAN.format(ceiling=ceiling, cap=cap, current=current), encoding="utf-8")
        return str(path)

    return plan


class Said:
    """What was printed, as one line."""

    def __init__(self, result):
        self.exit_code = result.exit_code
        self.lines = result.output.splitlines()
        self.output = " ".join(result.output.split())


def say(*arguments):
    return Said(CliRunner().invoke(main, ["rehearse", *arguments]))


def test_a_plan_that_works(plan):
    result = say(plan(), "--no-mishaps")
    assert result.exit_code == 0, result.output
    assert "would work: 25 µm in 58 min" in result.output
    assert "charge 3.78 Ah" in result.output
    assert "no run of this bath yet" in result.output
    assert "there is no record yet" in result.output
    assert "Voltage, V" in result.output
    assert "If:" not in result.output


def test_what_goes_wrong_is_shown_and_more_can_be_asked_for(plan):
    result = say(plan(), "--mishap", "short at 0:20", "--bath-temperature", "26 °C")
    assert result.exit_code == 0
    assert "If: short at 0:20" in result.output
    assert "bath at 26 °C, as it is now" in result.output


def test_a_plan_that_cannot_be_begun(plan):
    result = say(plan(current="6 A"))
    assert result.exit_code == 1
    assert "would not work, because stage 1, 'build': asks for 6 A" in result.output


def test_a_plan_that_does_not_get_there(plan):
    """At 0.2 V the cell takes far less than 4 A."""
    result = say(plan(ceiling="0.2 V", cap="2 h"))
    assert result.exit_code == 1
    assert "would not work, because cap on time reached" in result.output
    assert "0.2 V let" in result.output


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "PLAN is missing"),
        (["nowhere.toml"], "nowhere.toml: cannot be read"),
        (["PLAN", "--mishap", "short at 9:00"], "the run is over after 0:58"),
        (["PLAN", "--mishap", "flood at 1:00"], "expected one of part lost"),
        (["PLAN", "--mishap", "short at 0:10", "--no-mishaps"], "one of them, not both"),
        (["PLAN", "--bath-temperature", "95 °C"], "must be 0 to 80 °C"),
        (["PLAN", "--bath-temperature", "3 A"], "--bath-temperature"),
        (["--continue", "3"], "there is no record yet"),
    ],
)
def test_what_cannot_be_used_is_told_with_code_2(plan, arguments, said):
    path = plan()
    result = say(*(path if each == "PLAN" else each for each in arguments))
    assert result.exit_code == 2
    assert said in result.output


def test_a_metal_that_the_simulated_tank_does_not_have(plan, folder):
    path = plan()
    text = (folder / "plan.toml").read_text(encoding="utf-8")
    (folder / "plan.toml").write_text(f'metal = "Ni(II)"\n{text}', encoding="utf-8")
    result = say(path)
    assert result.exit_code == 2
    assert "Ni(II) cannot be rehearsed" in result.output


@pytest.fixture
def record(folder):
    """A run of 30 min at 2 A and 0.9 V on 2 dm², which was stopped, and a bath made up."""
    writer = Writer(folder / "record.sqlite", threaded=False)
    writer.ensure_bath("bath A")
    made = {"volume": 12.0, "copper": 600.0, "sulfuric acid": 720.0, "brightener": 60.0}
    start_ms = 1_764_028_800_000
    writer.keep_bath_entry(BathEntered("bath A", "make-up", "anna", start_ms, start_ms, made, {}))
    writer.put(
        RunOpened(
            run_id=1, bath="bath A", title="Night", metal="Cu",
            plan=PLAN.format(ceiling="6 V", cap="8 h", current="4 A"),
            area_dm2=2.0, target_um=25.0, who="anna", utc_ms=start_ms + 1000,
            monotonic_s=0.0, boot_id="b", clock_synchronised=True,
        )
    )  # fmt: skip
    for second in range(1801):
        writer.put(Sample(1, float(second), 2.0, 0.9, 2.0, 2.0 * second / 3600.0, 25.0))
    writer.put(
        RunEnded(
            1,
            "stopped",
            "stopped by anna",
            start_ms + 1_801_000,
            1800.0,
            1800.0,
            1.0,
            0.0,
            0.0,
            1.185,
            6.6,
        )
    )
    writer.flush()
    yield writer
    writer.close()


def test_what_earlier_runs_taught_is_used(plan, record):
    """By a run at 2 A and 0.9 V, 2 A take about 0.9 V again, where tanks in general take 0.6 V."""
    result = say(plan(current="2 A"), "--no-mishaps")
    assert result.exit_code == 0, result.output
    assert "voltage and current of the bath's last 1 run" in result.output
    assert "bath at 25 °C, as it was when it was last read" in result.output
    stage = next(line for line in result.lines if line.startswith("stages"))
    volts = float(stage.split("2 A, ")[1].split(" V")[0])
    assert 0.85 < volts < 0.95


def test_going_on_with_a_part(plan, record):
    """1 Ah of 3.779 is there: 2.779 Ah take 42 min at 4 A."""
    result = say("--continue", "1", "--no-mishaps")
    assert result.exit_code == 0, result.output
    assert "would work: 25 µm in 43 min" in result.output


def test_additions_that_come_due(plan, record):
    """1 Ah has used 1 mL of 2: the next dose is due after 1 Ah."""
    result = say(plan(), "--no-mishaps")
    assert "2 mL of brightener falls due after 1.0" in result.output


# After a run.


def a_range(least, middle, greatest):
    return RangeMessage(least=least, middle=middle, greatest=greatest)


def curve(name, unit, least, greatest):
    middle = (least + greatest) / 2
    return CurveMessage(
        name=name, unit=unit, least=(least,) * 3, middle=(middle,) * 3, greatest=(greatest,) * 3
    )


FORETOLD = Rehearsal(
    title="Night", bath="bath A", target_um=25.0, area_dm2=2.0, because=(),
    duration_s=a_range(3400.0, 3450.0, 3600.0), charge_ah=a_range(3.779, 3.779, 3.779),
    energy_kwh=a_range(0.003, 0.0036, 0.004), times_s=(0.0, 1800.0, 3600.0),
    curves=(curve("Voltage", "V", 0.8, 1.0), curve("Bath", "°C", 20.0, 24.0)),
)  # fmt: skip


def noted(kind, text, **data):
    return Noted(1, kind, text, 1_764_028_900_000, 100.0, data)


def test_a_run_beside_what_was_foretold(record):
    """Half an hour at 2 A and 0.9 V are 0.9 Wh; 0.9 V lie in 0.8 to 1 V, 25 °C not in 20 to 24."""
    record.put(noted("foretold", "would work", rehearsal=FORETOLD.model_dump_json()))
    record.put(noted("off the rehearsal", "bath 25.0 °C, where 20.0 to 24.0 °C was foretold"))
    record.flush()
    result = say("--after", "1")
    assert result.exit_code == 0, result.output
    assert "run 1, Night, stopped" in result.output
    assert "after 30 min of plating; foretold 58 min (57 min to 1 h 00 min)" in result.output
    assert "charge 1 Ah; foretold 3.78 Ah" in result.output
    assert "energy 0.9 Wh in the cell; foretold 3.6 Wh (3 to 4)" in result.output
    assert "voltage within what was foretold for 100 % of the time" in result.output
    assert "bath within what was foretold for 0 % of the time" in result.output
    assert "told then bath 25.0 °C" in result.output
    assert "did not reach its target: stopped by anna" in result.output


def test_a_run_that_was_not_foretold(record):
    result = say("--after", "1")
    assert result.exit_code == 1
    assert "run 1 was not foretold" in result.output
    record.put(noted("not foretold", "the run could not be foretold: no memory"))
    record.flush()
    assert "no memory" in say("--after", "1").output


def test_one_that_was_foretold_in_other_words(record):
    record.put(noted("foretold", "would work", rehearsal='{"title": 3}'))
    record.flush()
    result = say("--after", "1")
    assert result.exit_code == 1
    assert "another version" in result.output


def test_no_such_run_and_no_plan_beside_it(record, plan):
    assert say("--after", "9").exit_code == 1
    assert say(plan(), "--after", "1").exit_code == 2
