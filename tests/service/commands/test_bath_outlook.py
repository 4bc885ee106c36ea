"""`tankhand bath expected` and `tankhand cost` on a real record, without a daemon."""

import pytest
from click.testing import CliRunner

from daemon.record.entries import BathEntered, RunEnded, RunOpened, Sample
from daemon.record.writer import Writer
from daemon.service.commands.cli import main
from daemon.service.settings.file import read_settings

DAY_MS = 86_400_000
START_MS = 1_764_028_800_000  # 2025-11-25
SETTINGS = """\
supply = { port = "none" }
[bath]
name = "bath A"
volume = "10 L"
[bath.window.copper]
least = "45 g/L"
target = "50 g/L"
greatest = "60 g/L"
[bath.window.chloride]
least = "50 mg/L"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
[bath.anodes]
area = "4 dm²"
mass = "2 kg"
greatest_current_density = "2 A/dm²"
[bath.prices]
copper = "12 EUR/kg"
electricity = "0.40 EUR/kWh"
"""


def entered(kind, day=0.0, amounts=None, **facts):
    at_ms = round(START_MS + day * DAY_MS)
    return BathEntered("bath A", kind, "anna", at_ms, at_ms, amounts or {}, facts)


@pytest.fixture
def settings(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    monkeypatch.setenv("TZ", "UTC")
    return path


@pytest.fixture
def writer(settings):
    """An hour of 2 A at 3 V on the second day; bath A is made up before."""
    writer = Writer(settings.with_name("record.sqlite"), threaded=False)
    writer.ensure_bath("bath A")
    described = read_settings(settings).bath.description().to_json()
    writer.keep_bath_entry(entered("description", **described))
    made = {"volume": 10.0, "copper": 500.0, "chloride": 0.7, "brightener": 50.0}
    writer.keep_bath_entry(entered("make-up", amounts=made))
    begun_ms = START_MS + DAY_MS
    writer.put(
        RunOpened(1, "bath A", "Plate", "", "Cu(II)", 2.0, 10.0, "anna", begun_ms, 0.0, "b", True)
    )
    for second in range(3601):
        writer.put(Sample(1, float(second), 2.0, 3.0, 2.0, 2.0 * second / 3600))
    end = RunEnded(
        1, "complete", "target", begun_ms + 3_600_000, 3600.0, 3600.0, 2.0, 0, 0, 2.371, 13.2
    )
    writer.put(end)
    writer.flush()
    yield writer
    writer.close()


def tell(*words):
    done = CliRunner().invoke(main, list(words))
    return done.exit_code, done.output.splitlines()


def test_what_is_expected_on_a_day_is_shown_with_its_band_and_window(writer):
    code, lines = tell("bath", "expected", "--on", "2025-11-26")
    assert code == 0
    said = {line.split()[0]: line for line in lines}
    assert said["volume"].startswith("volume     9.9 ± ")
    # 50 g/L of copper are 196 g/L of the pentahydrate.
    assert said["copper"].startswith("copper     50.3 ± ")
    assert said["copper"].endswith("g/L (as CuSO4·5H2O 198 g/L); window 45 to 60")
    assert said["chloride"].startswith("chloride   70.4 ± ")
    assert said["chloride"].endswith("mg/L; at least 50")
    assert said["brightener"].split()[1] == "5"
    # So little charge leads nowhere within a year.
    assert "analyse" not in said
    # 2 A·h of 1.186 g and 2 % more.
    assert "anodes     1998 ± 1 g left" in lines
    assert "anodes     bear 8 A on 4 dm²" in lines
    assert "suggested" not in said


def test_a_bath_outside_its_window_gets_a_suggestion_and_an_odd_analysis_is_told(writer):
    results = {"copper": {"value": 42.0, "u": 0.3}}
    number = writer.keep_bath_entry(entered("analysis", 2.0, results=results))
    code, lines = tell("bath", "expected", "--on", "2025-11-27")
    assert code == 0
    (unlikely,) = [line for line in lines if line.startswith("unlikely")]
    assert f"copper 42 in entry {number}, 2025-11-27 00:00: 50." in unlikely
    # Found again, it is believed; 8 g/L are missing in 9.8 L.
    writer.keep_bath_entry(entered("analysis", 2.2, results=results))
    _, lines = tell("bath", "expected", "--on", "2025-11-27")
    (suggested,) = [line for line in lines if line.startswith("suggested")]
    assert suggested.startswith("suggested  copper: add 7")
    assert "as CuSO4·5H2O 30" in suggested
    (again,) = [line for line in lines if line.startswith("analyse")]
    assert again == "analyse    again now: copper"


def test_a_bath_of_which_nothing_is_known_says_what_it_needs(settings):
    Writer(settings.with_name("record.sqlite"), threaded=False).close()
    code, lines = tell("bath", "expected")
    assert code == 0
    assert lines[1].startswith("nothing tells what is in the bath: enter its make-up")


def test_what_a_run_cost_in_all_and_for_each_part(writer):
    code, lines = tell("cost", "1", "--parts", "2")
    assert code == 0
    assert lines == [
        "run        1, Plate, 2.000 Ah",
        "copper     2.37 g, 0.03 EUR",
        "brightener 0.3 mL, no price in the settings",
        "electricity 0.0075 kWh, 0.00 EUR",
        "in all     0.03 EUR, without brightener",
        "each part  0.02 EUR, of 2",
    ]


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (("cost", "7"), 1, "there is no run 7"),
        (("cost", "1", "--supply-efficiency", "120 %"), 2, "at most 1, got 1.2"),
        (("cost", "1", "--supply-efficiency", "3 V"), 2, "--supply-efficiency: "),
        (("bath", "expected", "--on", "yesterday"), 2, "--on"),
    ],
)
def test_wrong_input_has_one_clear_error(writer, words, code, said):
    done, lines = tell(*words)
    assert (done, len(lines)) == (code, 1), lines
    assert said in lines[0]


def test_without_a_record_that_is_said(settings):
    for words in (("cost", "1"), ("bath", "expected")):
        code, (line,) = tell(*words)
        assert code == 1
        assert "there is no record" in line
