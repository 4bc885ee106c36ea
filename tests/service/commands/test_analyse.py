"""`tankhand analyse` and `analyses`: without anything, with settings, and with a daemon."""

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from daemon.record.writer import Writer
from daemon.service.commands.cli import main

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "bath A"
volume = "15 L"
[bath.window.copper]
least = "45 g/L"
target = "50 g/L"
greatest = "60 g/L"
[bath.window."sulfuric acid"]
least = "55 g/L"
greatest = "70 g/L"
"""
COPPER = ("copper", "--edta", "0.1 mol/L", "--sample", "2 mL")
"""1 mL of it is 3.1773 g/L."""


@pytest.fixture
def settings(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    return path


@pytest.fixture
def alone(tmp_path, mocker):
    """A machine without any settings."""
    mocker.patch("pathlib.Path.exists", return_value=False)


@pytest.fixture
def daemon(serve_bath, settings, tmp_path):
    writer = Writer(tmp_path / "record.sqlite", threaded=False)
    yield serve_bath(settings, writer)
    writer.close()


def call(*words):
    """Exit code, stdout and stderr."""
    result = CliRunner().invoke(main, [*map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def done(*words):
    code, out, err = call(*words)
    assert (code, err) == (0, "")
    return out


def test_a_published_titration_without_any_settings(alone):
    # A titrator maker's application data, G10: mean 9.62 g/L.
    out = done(
        "analyse", "copper", "--edta", "0.1 mol/L", "--factor", "0.995", "--sample", "5 mL",
        "7.623", "7.603", "7.622", "7.611", "7.595",
    )  # fmt: skip
    assert out.splitlines()[0].split() == ["copper", "9.62", "±", "0.14", "g/L", "(95", "%)"]
    assert "window" not in out
    assert "caution" in out


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        # 12.24 mL of 1 mol/L for 10 mL: 60.02 g/L.
        (("acid", "--hydroxide", "1 mol/L", "--sample", "10 mL", "0.00-12.24", "12.24-24.48"),
         "sulfuric acid  60.0 ± "),
        (("chloride", "--titrant", "0.355 mg/mL", "--sample", "50 mL", "8.2", "8.2"),
         "chloride   58.2 ± "),
        # 17.1 mL of 0.01 mol/L for 100 mL: 60.6 mg/L (35.453 g/mol).
        (("chloride", "--silver-nitrate", "0.01 mol/L", "--sample", "100 mL", "17.1", "17.1"),
         "chloride   60.6 ± "),
        # 9.627 mL of 0.1 N: 61.2 g/L.
        (("copper", "--thiosulfate", "0.1 N", "--sample", "1 mL", "9.623", "9.631"),
         "copper       61.2 ± "),
    ],
)  # fmt: skip
def test_every_titrant(alone, words, shown):
    assert done("analyse", *words).startswith(shown)


def test_what_the_bath_wants_by_options(alone):
    out = done(
        "analyse", *COPPER, "14.16", "14.16", "14.17", "--volume", "10 L", "--least", "50 g/L",
        "--target", "55 g/L", "--greatest", "60 g/L",
    )  # fmt: skip
    # 45.0 g/L: 100 g of copper to 55, 392.9 g of crystals less what rounding takes.
    assert "below the window" in out
    assert "g of CuSO4·5H2O to 10 L: it comes to 55 g/L" in out


def test_what_the_bath_wants_by_its_settings(settings):
    out = done("analyse", *COPPER, "22.03", "22.03", "22.02", "--also", "sulfuric acid=60 g/L")
    # 70.0 g/L to 50: 2/7 of 15 L, 4.28 L; the acid falls to 42.9 g/L.
    assert "window       least 45 g/L, target 50 g/L, greatest 60 g/L: above the window" in out
    assert "take out 4.28 L of 15 L" in out
    assert "sulfuric acid falls from 60 to 42.9 g/L" in out
    assert "no drains" in out


def test_keeping_listing_and_where_it_leads(daemon):
    for day, volume in (("2026-01-01", 17.0), ("2026-01-11", 16.4), ("2026-01-21", 15.8)):
        out = done(
            "analyse", *COPPER, "--sample-limit", "0.1 %", f"{volume:.2f}", f"{volume:.2f}",
            f"{volume + 0.01:.2f}", "--keep", "--at", f"{day} 12:00", "--note", "after filtering",
        )  # fmt: skip
        assert "entry " in out
    # 0.6 mL in 10 days: 0.1906 g/L a day, from 50.2 to 45 in 27 days.
    assert "trend      copper falls by 0.19" in out
    assert "reaches its least, 45 g/L, about 2026-02-1" in " ".join(out.split())
    listed = done("analyses")
    assert listed.splitlines()[0].startswith("4          2026-01-21 12:00  copper 50.2 ± ")
    assert "EDTA 0.1 mol/L" in listed
    assert done("analyses", "copper", "--against", "charge").count("copper") == 3
    assert done("analyses", "acid").strip() == "no analysis is in the account"
    assert "analysis: EDTA 0.1 mol/L, copper 50.2" in done("bath", "ledger")
    assert "after filtering" in done("bath", "ledger")


def test_what_was_kept_tells_what_a_dilution_does(daemon):
    done(
        "analyse", "acid", "--hydroxide", "1 mol/L", "--sample", "10 mL", "12.24", "12.24", "--keep"
    )
    out = done("analyse", *COPPER, "22.03", "22.03", "22.02")
    assert "sulfuric acid falls from 60.02 to 42.9 g/L, and its least is 55 g/L" in out


def test_nothing_is_kept_unless_it_is_asked_for(daemon):
    done("analyse", *COPPER, "16.0", "16.0")
    assert done("analyses").strip() == "no analysis is in the account"


def test_without_a_daemon_the_result_is_shown_and_not_kept(settings):
    code, out, err = call("analyse", *COPPER, "16.0", "16.0", "--keep")
    assert code == 1
    assert out.startswith("copper       50.8 ± ")
    assert err.startswith("tankhand: no daemon answers")
    assert "nothing was entered" in err


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (("copper", "7.6"), "one titrant is wanted, of --edta, --thiosulfate, --hydroxide"),
        (("copper", "--edta", "0.1 M", "--titrant", "6 mg/mL", "7.6"), "one titrant is wanted"),
        ((*COPPER,), "readings: needs at least 1"),
        ((*COPPER, "7,6"), "a decimal comma"),
        ((*COPPER, "7.75-0.13"), "the end of a reading has to lie beyond its start"),
        (("copper", "--edta", "0.1 M", "--sample", "0 mL", "7.6"), "sample: must be above 0 mL"),
        ((*COPPER, "7.6", "--blank", "8"), "more than the blank of 8 mL"),
        ((*COPPER, "7.6", "--least", "60 g/L", "--greatest", "50 g/L"), "must rise"),
        ((*COPPER, "7.6", "--also", "acid"), "--also: expected a name and a concentration"),
        ((*COPPER, "7.6", "--at", "2026-01-01 12:00"), "--at: says when a kept analysis"),
        ((*COPPER, "16", "16", "--keep", "--at", "noon"), "--at: expected a day and a time"),
    ],
)
def test_one_clear_error(settings, words, complaint):
    code, _, err = call("analyse", *words)
    assert code == 2
    assert len(err.splitlines()) == 1
    assert complaint in err


def test_settings_that_cannot_be_read(tmp_path):
    code, _, err = call("analyse", *COPPER, "16", "--settings", tmp_path / "none.toml")
    assert code == 2
    assert "none.toml: cannot be read" in err


def test_figures_that_need_no_bath():
    assert "2.81 A/dm² (26.1 A/ft²)" in done("hull", "--current", "2 A", "--at", "2 in")
    assert "2.05 A/dm²" in done("hull", "--current", "2 A", "--bright", "1.2 cm", "6 cm")
    assert "2.98 A/dm²" in done("hull", "--current", "1 A")
    assert "98.2 %" in done("filtration", "--volume", "15 L", "--flow", "60 L/h", "--for", "1 h")
    assert "163 mL/m²" in done("drag-out")
    assert "180 mL" in done("drag-out", "--area", "180 dm²")


@pytest.mark.parametrize(("words", "complaint"), [
    (("hull",), "Hull cell: current is missing"),
    (("hull", "--current", "2 A", "--at", "4 in"), "0.25 to 3.25 in"),
    (("filtration", "--volume", "15 L"), "filtration: flow is missing"),
    (("drag-out", "--added", "100 g"), "needs all of added, start, end and volume"),
])  # fmt: skip
def test_figures_that_cannot_be(words, complaint):
    code, out, err = call(*words)
    assert (code, out) == (2, "")
    assert complaint in err


BATH_README = Path(__file__).parents[3] / "daemon" / "bath" / "README.md"


def test_the_titration_that_is_worked_through(alone):
    """The document's own figures: its command says what stands beneath it, and the hand sum too."""
    text = BATH_README.read_text(encoding="utf-8")
    written = re.search(r"```sh\n(tankhand analyse copper .*?)```\n\n```text\n(.*?)```", text, re.S)
    words = shlex.split(written[1].replace("\\\n", " "))[1:]
    assert done(*words) == written[2]
    by_hand = re.search(r"14\.057 · 0\.0998 · 63\.546 / 2 = ([0-9.]+) g/L", text)
    assert float(by_hand[1]) == pytest.approx(14.057 * 0.0998 * 63.546 / 2, abs=0.005)
    assert written[2].split()[1] == f"{float(by_hand[1]):.1f}"
