"""`tankhand bath` over a real control socket and a real record, and where there is no daemon."""

import re
from datetime import UTC, datetime, timedelta

import pytest
from click.testing import CliRunner

from daemon.record import queries
from daemon.record.entries import RunEnded, RunOpened, Sample
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.commands.cli import main

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
def daemon(serve_bath, settings, writer):
    return serve_bath(settings, writer)


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
        "later      5 mL of brightener in 33.3 Ah",  # 5 mL at 150 mL/kAh
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
        "addition: copper 12.7252 g, CuSO4·5H2O, 50 g",
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
    done("add", "sulfuric acid", "100 mL", "--strength", "96 %")
    done("correct", 11, "200 mL")
    assert "put in     brightener: 7 mL" in done()
    assert not [line for line in done() if "copper" in line]
    listed = "\n".join(done("ledger"))
    assert "dose: brightener 7 mL" in listed
    assert "        corrected by entry 3, " in listed
    assert ": misread" in listed
    assert "appearance: hazy, even" in listed
    assert "sulfuric acid of 96 %, 200 mL" in listed
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


HOUR_MS = 3_600_000


@pytest.fixture
def worked(daemon, writer):
    """Runs of 40 A·h each, so many hours ago; each has 6 mL of brightener used up."""

    def run(run_id, hours_ago):
        ended_ms = round(datetime.now(UTC).timestamp() * 1000) - hours_ago * HOUR_MS
        plan = ("t", "", "Cu(II)", 1.0, 9.0)
        writer.put(RunOpened(run_id, "bath A", *plan, "Ann", ended_ms - 1000, 0.0, "b", None))
        charges = (40.0, 0.0, 0.0)
        writer.put(RunEnded(run_id, "stopped", "", ended_ms, 1.0, 1.0, *charges, 0.1, 1.0))
        writer.flush()

    return run


def hours_ago(hours):
    then = datetime.now(UTC) - timedelta(hours=hours)
    return f"{then.isoformat(' ', 'seconds')}"


def test_a_rate_by_the_doses_that_were_given(worked):
    """6.5 mL lasted 40 A·h, 7.5 mL lasted 40 A·h: 14 mL in 80 A·h are 175 mL/kAh. The scatter is
    0.5 mL either way: sqrt(0.5/2)/40 = 12.5 mL/kAh, times 12.71 for one degree of freedom."""
    worked(1, 40)
    worked(2, 20)
    # The level was set before the daemon described the bath.
    done("add", "brightener", "75 mL", "--at", hours_ago(60))
    for hours, amount in ((50, "6.5 mL"), (30, "7.5 mL"), (10, "9 mL")):
        done("dose", "brightener", amount, "--at", hours_ago(hours))
    out = done("rate")
    assert out[:2] == [
        "brightener: 180 ± 160 mL/kAh (95 %), 2 intervals in 80.0 Ah; 150 mL/kAh set",
        "carrier: no charge between two doses yet",
    ]
    assert "doses were given when the deposit asked for them" in " ".join(out)


def test_what_is_due_and_what_the_looks_suggest(worked):
    """80 A·h used 12 mL: two doses are due, and 12 mL - 5 mL at 150 mL/kAh are 46.7 A·h."""
    done("add", "brightener", "75 mL", "--at", hours_ago(60))
    worked(1, 40)
    worked(2, 20)
    assert done()[-1] == "due        2 doses of 5 mL of brightener now, overdue by 46.7 Ah"
    done("dose", "brightener", "11 mL", "--at", hours_ago(10))
    # 1 mL is open, a fifth of a dose: dull so early asks for more, a quarter at the most.
    done("look", "dull")
    assert not [line for line in done() if line.startswith("suggested")]
    done("look", "dull", "even", "--run", 2)
    assert done()[-2:] == [
        "later      5 mL of brightener in 26.7 Ah",
        "suggested  brightener 188 mL/kAh instead of 150: dull 2 times before a dose was due, on "
        "average after 20 % of its charge. Look at chloride, temperature, agitation and dirt first "
        "(common practice); the rate is yours to change, in the settings",
    ]


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
