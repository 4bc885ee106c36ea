"""`tankhand bath` over a real control socket and a real record, and where there is no daemon."""

import re
from datetime import UTC, datetime

import pytest
from click.testing import CliRunner

from daemon.api.messages import Status
from daemon.chemistry.uncertainty import NO_DOUBT
from daemon.clock import SystemClock
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.record import queries
from daemon.record.entries import RunEnded, RunOpened, Sample
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.bath_keeping import BathKeeper
from daemon.service.commands.cli import main
from daemon.service.server import ControlServer, Desk
from daemon.service.settings import read_settings
from drivers.contracts import Rating

SETTINGS = """\
[supply]
port = "/dev/ttyUSB0"
[bath]
name = "bath A"
volume = "15 L"
brim = "16 L"
[[bath.additive]]
name = "brightener"
rate = "150 mL/kAh"
dose = "5 mL"
[[bath.additive]]
name = "carrier"
"""
STATUS = Status(
    state="idle", utc="2026-11-25T00:00:00+00:00", monotonic_s=1.0, rate=1.0, current_a=0.0,
    voltage_v=0.0, reading_age_s=0.1, mode=None, output_on=False, supply="A,B,1,2", run=None,
    bath="bath A", bath_charge_ah=0.0,
)  # fmt: skip


PANEL = Panel({"supply": MeterFacts(Correction(), NO_DOUBT)}, "supply", fresh_s=1.0)


def _unused(*_):
    raise AssertionError


@pytest.fixture
def settings(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    return path


@pytest.fixture
def writer(tmp_path):
    made = Writer(tmp_path / "record.sqlite", threaded=False)
    yield made
    made.close()


@pytest.fixture
def daemon(settings, writer):
    """The daemon's side of the socket: its server, its keeper, its record."""
    told = read_settings(settings)
    keeper = BathKeeper(told.bath.description(), writer, SystemClock())
    keeper.describe()
    rating = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
    server = ControlServer(
        told.daemon.socket, lambda: STATUS, _unused, rating, PANEL,
        Desk(_unused, _unused, _unused, keeper.enter, _unused, _unused, _unused), (),
    )  # fmt: skip
    server.start()
    yield keeper
    server.stop()


def call(*words):
    """Exit code, lines of stdout, lines of stderr of `tankhand bath`."""
    result = CliRunner().invoke(main, ["bath", *map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()


def done(*words):
    """The lines of a command that goes well."""
    code, out, err = call(*words)
    assert (code, err) == (0, [])
    return out


def test_what_is_entered_is_shown(daemon):
    assert done("dose", "brightener") == ["entry 2"]
    assert done("add", "copper sulfate", "50 g", "--note", "by the scoop") == ["entry 3"]
    assert done("water", "0.5 L", "--level", "15 L") == ["entry 4"]
    assert done("sample", "10 mL") == ["entry 5"]
    done("drag-out", "20 mL")
    done("filtered")
    done("carbon")
    done("look", "dull", "pitted")
    done("anodes", "--area", "4 dm²", "--mass", "1.8 kg")

    shown = done()
    assert shown[0].startswith("bath       bath A, ")
    assert shown[1].startswith("volume     14.97 L, as stated ")
    assert shown[2:] == [
        "charge     0.000 Ah",
        "put in     brightener: 5 mL",
        # 63.546 / 249.685 of it is copper
        "put in     copper: 12.7252 g (as CuSO4·5H2O 50 g)",
    ]
    assert done("show")[1:] == shown[1:]
    listed = re.findall(r"\d\d:\d\d  (.*?), by ", "\n".join(done("ledger")))
    assert listed == [
        "anodes: 4 dm², 1800 g",
        "appearance: dull, pitted",
        "treated with carbon",
        "filtered",
        "drag-out: volume -20 mL",
        "sample: volume -10 mL",
        "water: volume 500 mL, then 15 L",
        "addition: copper 12.7252 g, copper sulfate pentahydrate, 50 g",
        "dose: brightener 5 mL",
        "description",
    ]
    assert "        by the scoop" in done("ledger")
    assert done("ledger", "--limit", 1)[-1] == "and 9 more"


def test_corrections_stand_beneath_what_they_correct(daemon):
    done("dose", "brightener", "5 mL")
    assert done("correct", 2, "7 mL", "--note", "misread") == ["entry 3"]
    done("look", "dull")
    done("correct", 4, "hazy", "even")
    done("water", "1 L", "--level", "15 L")
    done("correct", 6, "0.9 L")
    done("add", "copper sulfate", "50 g")
    done("correct", 8, "100 g")
    done("withdraw", 8, "--note", "never was")
    assert "put in     brightener: 7 mL" in done()
    assert not [line for line in done() if "copper" in line]
    listed = "\n".join(done("ledger"))
    assert "dose: brightener 7 mL" in listed
    assert "        corrected by entry 3, " in listed
    assert ": misread" in listed
    assert "appearance: hazy, even" in listed
    assert "water: volume 900 mL, then 15 L" in listed
    assert "addition: withdrawn" in listed
    assert ": never was" in listed


def test_what_happened_earlier_and_a_past_day(daemon):
    """The entries are of today; yesterday nobody had described the bath."""
    done("dose", "brightener", "5 mL", "--at", "2026-01-20 18:00")
    assert "2026-01-20 18:00  dose: brightener 5 mL" in done("ledger")[1]
    past = done("--on", "2026-01-21")
    assert past == ["bath       bath A, 2026-01-21 23:59", "charge     0.000 Ah"]
    assert done("ledger", "--on", "2026-01-21") == ["nothing was entered yet"]


def test_the_charge_is_the_accounts_and_of_a_run_under_way_too(daemon, writer, tmp_path):
    """3.6 A are 1 mA·h each second."""
    now_ms = round(datetime.now(UTC).timestamp() * 1000)
    for run_id, started_ms in ((1, now_ms - 1_000_000), (2, now_ms - 100_000)):
        writer.put(
            RunOpened(
                run_id, "bath A", "t", "", "Cu(II)", 1.0, 9.0, "Ann", started_ms, 0.0, "b", None
            )
        )
        for second in range(100):
            writer.put(Sample(run_id, float(second), 3.6, 1.0, 3.6, second / 1000))
        if run_id == 1:
            charges = (0.099, 0.0, 0.0)
            ended_ms = started_ms + 99_000
            writer.put(RunEnded(1, "stopped", "", ended_ms, 99.0, 99.0, *charges, 0.1, 1.0))
    writer.flush()
    assert "charge     0.198 Ah" in done()
    engine = open_reader(tmp_path / "record.sqlite")
    with engine.connect() as connection:
        (bath,) = queries.baths(connection)
    engine.dispose()
    assert bath.charge_ah == pytest.approx(0.198, abs=1e-9)


def test_what_the_daemon_says_besides_is_shown(daemon):
    done("water", "0.1 L", "--level", "15.9 L")
    out = done("water", "0.5 L")
    assert out[0] == "entry 3"
    assert out[1].startswith("note       by the account the bath now has 16.4 L")


@pytest.mark.parametrize(
    ("words", "code", "complaint"),
    [
        (
            ("dose", "leveller", "5 mL"),
            2,
            "additive: 'leveller' is not known; known: brightener",
        ),
        (("dose", "carrier"), 2, "amount: say how much"),
        (("dose", "brightener", "5"), 2, "a number without a unit"),
        (("dose", "brightener", "5 mL/kAh"), 2, 'expected a volume such as "5 mL"'),
        (("dose", "brightener", "2 L"), 1, "more than 15 L of bath bear"),
        (("add", "copper", "5 mL"), 2, "expected a mass"),
        (("water", "0.5 L", "--level", "x"), 2, "level: expected a volume"),
        (("sample", "100 L"), 1, "more than can be, at most 32 L: is the unit right?"),
        (("look", "matt"), 1, "looks: expected one of dull, hazy, pitted, burned, bright, even"),
        (("look", "dull", "--run", 3), 1, "there is no run 3"),
        (("anodes",), 1, "needs area_dm2 or mass_g"),
        (("filtered", "--at", "2200-01-01 00:00"), 2, "a year from 2000 to 2199"),
        (("filtered", "--at", "2199-01-01 00:00"), 1, "is still to come"),
        (("filtered", "--at", "18:00"), 2, "--at: expected a day and a time"),
        (("filtered", "--note", "x" * 501), 2, "note: should have at most 500 characters"),
        (("correct", 9, "5 mL"), 1, "there is no entry 9"),
        (("correct", 1, "5 mL"), 2, "withdraw it, enter it anew"),
        (("withdraw", 1), 1, "change the settings instead"),
        (("--on", "yesterday"), 2, "--on: expected a day"),
    ],
)
def test_one_clear_error_and_nothing_is_entered(daemon, words, code, complaint):
    found, out, err = call(*words)
    assert (found, out, len(err)) == (code, [], 1)
    assert complaint in err[0]
    assert len(done("ledger")) == 1


def test_two_amounts_are_not_one(daemon):
    done("sample", "10 mL")
    assert call("correct", 2, "5 mL", "6 mL")[2] == ["tankhand: entry 2: takes one amount, got 2"]


def test_reading_needs_no_daemon_and_writing_does(settings, writer):
    assert done()[0].startswith("bath       bath A, ")
    assert done()[1] == "volume     15 L, by its description"
    code, out, err = call("dose", "brightener")
    assert (code, out) == (1, [])
    assert err[0].startswith("tankhand: no daemon answers at ")
    assert err[0].endswith("only the daemon writes: nothing was entered")


def test_without_a_record(settings):
    code, out, err = call("ledger")
    assert (code, out) == (1, [])
    assert "there is no record" in err[0]
