"""`tankhand recount` as a person uses it: what it says, asks, refuses, and posts."""

import os
import pty
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from daemon.record import queries
from daemon.record.ledger import RECOUNTED
from daemon.record.store import RecordLock, open_reader
from daemon.service.commands.cli import main

TOLD = ("--time-column", "t", "--time-unit", "s", "--current-column", "I", "--current-unit", "A",
        "--current-is", "sample")  # fmt: skip


@pytest.fixture
def log(tmp_path):
    """An hour at 2 A: 2 Ah."""
    path = tmp_path / "night.csv"
    path.write_text("t,I\n" + "".join(f"{s},2\n" for s in range(3601)))
    return path


@pytest.fixture
def settings(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "Acid copper"\n')
    return path


def call(*words):
    """Exit code, stdout and stderr by lines."""
    result = CliRunner().invoke(main, ["recount", *map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout.splitlines(), result.stderr.splitlines()


def said(*words):
    """The lines of a count that goes well, by their labels."""
    code, lines, errors = call(*words)
    assert (code, errors) == (0, [])
    return {line[:11].strip(): line[11:] for line in lines if line[:1].strip()}


def test_an_hour_at_two_amperes(log):
    lines = said(log, *TOLD, "--area", "1.8 dm²")
    assert lines["charge"] == "2 Ah in, 0 Ah out"
    assert lines["net"] == "2 Ah"
    # By hand: 2 Ah · 1.18567 g/Ah (OpenStax Chemistry's copper, 63.546 g/mol over 2 F).
    assert lines["mass"] == "2.37099 g of Cu(II)"
    # 2.37099 g / 8.96 g/cm³ / 180 cm² = 14.701 µm.
    assert lines["thickness"] == "14.7011 µm on 1.8 dm², efficiency 100 %"
    assert lines["gaps"] == "none (rows more than 5 s apart, 5 usual intervals)"


def half_width(errors):
    """Half the width of the middle 95 % of drawn errors, which lie evenly on both sides."""
    return float(np.quantile(np.abs(errors), 0.95))


def interval(text):
    """Value and half width of `2.000 Ah ± 0.022 Ah (95 %)`."""
    value, _, _, half, *_ = text.split()
    return float(value), float(half)


def test_the_interval_holds_95_of_100_drawn_meters(log):
    """Limits as flat errors, noise as a normal one, drawn a hundred thousand times."""
    options = ("--area", "2 dm²", "--gain-limit", "1 %", "--area-limit", "5 %",
               "--efficiency-limit", "3 %", "--offset-limit", "10 mA", "--clock-limit", "0.2 %",
               "--resolution", "16 mA", "--noise", "50 mA")  # fmt: skip
    lines = said(log, *TOLD, *options)
    dice = np.random.default_rng(5)
    flat = [
        dice.uniform(-limit, limit, 100_000) for limit in (0.02, 0.01, 0.004, 0.008, 0.05, 0.03)
    ]
    # 3600 intervals of 1 s: noise of 0.05 A comes to 0.05 A · 60 s.
    charge_ah = sum(flat[:4]) + dice.normal(0, 0.05 * 60 / 3600, 100_000)
    value, half = interval(lines["net"])
    assert value == 2.0
    assert half == pytest.approx(half_width(charge_ah), rel=0.03)
    value, half = interval(lines["thickness"])
    # 2.37099 g / 8.96 g/cm³ / 200 cm².
    assert value == pytest.approx(13.231, abs=0.005)
    assert half == pytest.approx(13.231 * half_width(charge_ah / 2 + flat[4] + flat[5]), rel=0.06)
    assert [share.split()[0] for share in lines["doubt"].partition(": ")[2].split(", ")] == [
        "area", "efficiency", "gain", "offset", "resolution", "clock", "noise",
    ]  # fmt: skip


def test_mean_sign_and_gap_as_told(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,I\n0,-1\n10,-3\n20,-3\n120,-3\n")
    lines = said(path, *TOLD[:-1], "mean", "--reverse", "--gap", "10 s")
    assert lines["charge"] == "0.0166667 Ah in, 0 Ah out"
    assert lines["gaps"] == (
        "1, 100 s in all (rows more than 10 s apart): between 0 Ah and 0.0833333 Ah passed, "
        "and the middle is in the net charge"
    )
    # 60 A·s and the middle of 0 and 300 A·s, within ±150 A·s.
    assert lines["net"] == f"0.058 Ah ± {150 / 3600:.3f} Ah (95 %)"


def test_a_clock_that_goes_back_and_rows_that_cannot_be_read_are_told(tmp_path):
    path = tmp_path / "log.csv"
    rows = [*range(100), 99, 98, 200, 10, *range(11, 100)]
    path.write_text("t,I\n" + "".join(f"{s},1\n" for s in rows) + "oops,1\n")
    _, lines, _ = call(path, *TOLD, "--gap", "5 s")
    assert [line for line in lines if line.startswith("clock")] == [
        "clock      1 rows repeat the time before and add nothing",
        "clock      1 rows are older than the one before and add nothing",
        "clock      1 times the clock was set back; the interval is lost",
    ]
    (line,) = [line for line in lines if line.startswith("not read")]
    assert line == 'not read   1 rows, the first on line 195: t: a number in s expected, got "oops"'


def test_groups_have_their_own_lines(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,I,cycle\n0,3600,a\n1,3600,a\n2,-3600,b\n3,-3600,b\n")
    code, lines, _ = call(path, *TOLD, "--group-by", "cycle")
    assert code == 0
    assert [line.split() for line in lines[-3:]] == [
        ["cycle", "rows", "in", "Ah", "out", "Ah", "net", "Ah", "gaps", "gaps", "s"],
        ["a", "2", "1.000000", "0.000000", "1.000000", "0", "0.0"],
        ["b", "2", "0.250000", "1.250000", "-1.000000", "0", "0.0"],
    ]


def test_what_is_missing_is_one_error_with_the_columns(log):
    code, lines, errors = call(log, "--current-is", "mean", "--time-column", "t")
    assert (code, lines) == (2, [])
    assert errors == [
        f"tankhand: {log}: --current-column is not given: which column holds the current? "
        'the columns are "t", "I"'
    ]


@pytest.mark.parametrize(
    ("text", "options", "error"),
    [
        ("t,I\n0,1\n1,x\n2,1\n", (), "1 of 3 rows cannot be read, more than 1 % (--bad-rows); the "
         'first is line 3: I: a number in A expected, got "x"'),
        ("t,I\n0,1\n", (), "1 of 1 rows can be read, and no two with rising time"),
        ("t,I\n5,1\n5,1\n4,1\n", (), "3 of 3 rows can be read, and no two with rising time"),
        ("t,I\n0,x\n1,1\n", (), "1 of 2 rows can be read, and no two with rising time; the first "
         'that cannot is line 2: I: a number in A expected, got "x"'),
        ("", (), "is empty"),
        ("t,I\n0,1\n1,1\n", ("--group-by", "z"), '--group-by: no column "z"; the columns are "t", '
         '"I"'),
    ],
)  # fmt: skip
def test_a_log_that_cannot_be_counted(tmp_path, text, options, error):
    path = tmp_path / "log.csv"
    path.write_text(text)
    assert call(path, *TOLD, *options) == (2, [], [f"tankhand: {path}: {error}"])


def test_more_bad_rows_may_be_allowed(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,I\n0,1\n1,x\n2,1\n")
    assert said(path, *TOLD, "--bad-rows", "40 %")["not read"].startswith("1 rows")


@pytest.mark.parametrize(
    ("options", "error"),
    [
        (("--delimiter", "ab"), "--delimiter: must be one character, got 'ab'"),
        (("--metal", "Unobtainium"), "--metal: metal and valence must be one of"),
        (("--area", "3 kg"), "of another kind"),
        (("--area", "0 dm²"), "must be above 0 dm², got 0 dm²"),
        (("--efficiency", "120 %"), "must be at most 1 (100 %), got 120 %"),
        (("--gain-limit", "-1 %"), "must be at least 0, got -1 %"),
    ],
)
def test_options_that_make_no_sense(log, options, error):
    code, lines, errors = call(log, *TOLD, *options)
    assert (code, lines) == (2, [])
    assert error in errors[-1]


def test_no_such_file(tmp_path):
    path = tmp_path / "none.csv"
    error = f"tankhand: {path}: cannot be read: No such file or directory"
    assert call(path, *TOLD) == (2, [], [error])


def test_too_many_groups(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("t,I,n\n" + "".join(f"{n},1,{n}\n" for n in range(10_002)))
    _, _, errors = call(path, *TOLD, "--group-by", "n")
    assert errors == [f"tankhand: {path}: --group-by: more than 10000 groups, the last one '10000'"]


def test_at_a_terminal_it_asks_and_asks_again(log):
    """A real terminal: answers are typed; a wrong one is told and asked for anew."""
    ours, theirs = pty.openpty()
    answers = ["sometimes", "t", "I", "average", "mean", "V", "s", "A"]
    os.write(ours, "".join(f"{answer}\n" for answer in answers).encode())
    done = subprocess.run(
        [sys.executable, "-m", "daemon.service.commands.cli", "recount", log],
        stdin=theirs, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    os.close(ours)
    os.close(theirs)
    assert done.returncode == 0, done.stderr
    assert "net        2 Ah" in done.stdout
    assert "a mean since the row before" in done.stdout
    assert 'no column "sometimes"; the columns are "t", "I"' in done.stderr
    assert "'average' is not one of 'sample', 'mean'" in done.stderr
    assert "--time-unit: expected a time" in done.stderr


def entries(folder):
    engine = open_reader(folder / "record.sqlite")
    try:
        with engine.connect() as connection:
            (bath,) = queries.baths(connection)
            return bath, queries.ledger_entries(connection, bath.id)
    finally:
        engine.dispose()


def test_posting_adds_to_the_bath_with_the_source(log, settings):
    lines = said(log, *TOLD, "--post", "--settings", settings)
    assert lines["posted"] == "to Acid copper, which now stands at 2.000 Ah"
    bath, (entry, opened) = entries(settings.parent)
    assert (bath.name, opened.kind) == ("Acid copper", "opened")
    assert (entry.kind, entry.charge_ah, entry.balance_ah) == (RECOUNTED, 2.0, 2.0)
    assert (entry.gap_least_ah, entry.gap_greatest_ah) == (0.0, 0.0)
    summed = subprocess.run(["sha256sum", log], capture_output=True, text=True, check=True)
    assert entry.text.startswith("log 'night.csv', posted by ")
    assert entry.text.endswith(f", SHA-256 {summed.stdout.split()[0]}")


def test_the_same_log_is_not_posted_twice_whatever_its_name(log, settings):
    said(log, *TOLD, "--post", "--settings", settings)
    packed = log.with_name("again.csv.gz")
    packed.write_bytes(subprocess.run(["gzip", "-c", log], capture_output=True, check=True).stdout)
    code, _, errors = call(packed, *TOLD, "--post", "--settings", settings)
    assert code == 1
    assert len(errors) == 1
    assert "the same log is in the account of Acid copper: log 'night.csv'" in errors[0]
    assert errors[0].endswith("; nothing was posted")
    assert len(entries(settings.parent)[1]) == 2


def test_bounds_of_gaps_are_posted(tmp_path, settings):
    path = tmp_path / "log.csv"
    path.write_text("t,I\n0,-2\n1,-2\n3601,1\n3602,1\n")
    said(path, *TOLD, "--gap", "1 s", "--post", "--settings", settings)
    _, (entry, _) = entries(tmp_path)
    assert entry.charge_ah == pytest.approx(-1 / 3600, abs=1e-9)
    assert (entry.gap_least_ah, entry.gap_greatest_ah) == (-2.0, 1.0)


def test_a_charge_that_no_bath_sees_is_not_posted(tmp_path, settings):
    path = tmp_path / "log.csv"
    path.write_text("t,I\n0,1e12\n3600,1e12\n")
    code, _, errors = call(path, *TOLD, "--post", "--settings", settings)
    assert code == 1
    assert "1e+12 Ah is more than a bath sees" in errors[0]
    assert not (tmp_path / "record.sqlite").exists()


def test_while_the_daemon_holds_the_record_nothing_is_posted(log, settings):
    with RecordLock(settings.parent / "record.sqlite"):
        code, _, errors = call(log, *TOLD, "--post", "--settings", settings)
    assert code == 1
    assert errors == [
        f"tankhand: {settings.parent}/record.sqlite: the record is being written by another "
        f"process, pid {os.getpid()}: end the daemon, which holds the record, and post again; "
        "nothing was posted"
    ]
    assert not (settings.parent / "record.sqlite").exists()


def test_a_record_that_is_none_is_left_alone(log, settings):
    record = settings.parent / "record.sqlite"
    record.write_text("something else, and long enough to be looked at" * 20)
    before = record.read_bytes()
    code, _, errors = call(log, *TOLD, "--post", "--settings", settings)
    assert code == 1
    assert "nothing was posted" in errors[0]
    assert record.read_bytes() == before


def test_posting_without_settings_says_which(log, tmp_path):
    code, _, errors = call(log, *TOLD, "--post", "--settings", tmp_path / "none.toml")
    assert code == 2
    assert errors == [f"tankhand: {tmp_path}/none.toml: cannot be read: No such file or directory"]


def test_a_name_with_control_characters_is_written_harmlessly(log, settings):
    odd = Path(log.parent, "night\n\x1b[2J.csv")
    odd.write_bytes(log.read_bytes())
    said(odd, *TOLD, "--post", "--settings", settings)
    _, (entry, _) = entries(settings.parent)
    assert r"'night\n\x1b[2J.csv'" in entry.text
