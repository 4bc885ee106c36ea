"""An old run counted again: what is shown, what is entered, and what is refused."""

import shutil
from dataclasses import replace

import pytest
from click.testing import CliRunner

from daemon.chemistry.calibration import MeterLine, Point
from daemon.record import queries
from daemon.record.entries import CalibrationMade, CountedBy, RunEnded, RunOpened, Sample
from daemon.record.store import RecordLock, open_reader
from daemon.record.writer import Writer
from daemon.service.commands.calibrate import calibrations, recount_run

PLAN = """\
title = "Plate"
area = "1 dm²"
target = "10 µm"
area_uncertainty = "0 %"
efficiency_uncertainty = "0 %"
voltage_ceiling = "6 V"
caps = { charge = "10 Ah", duration = "10 h" }
[[stage]]
name = "build"
current = "2 A"
"""
MADE = CalibrationMade(
    meter="supply",
    utc_ms=1_764_028_800_000,  # 2025-11-25
    who="anna",
    reference="handheld, serial 4711",
    reference_class="0.5 % + 3 mA",
    note="",
    points=(Point(0.04, 1e-4, 0.0), Point(2.08, 1e-4, 2.0, 3e-4)),
    line=MeterLine(1.02, 0.04, 0.002, 0.001, 0.0),
)
HOUR_S = 3600
SETTINGS = """\
supply = { port = "none" }
bath = { name = "bath" }
loop = { gap = "10 s", lost = "20 s" }
"""


def put_run(writer, run_id, counted_by, *, ended=True):
    """An hour that read 2.08 A, which is 2 A by the calibration and 2.08 A·h without."""
    writer.put(
        RunOpened(
            run_id, "bath", "Plate", PLAN, "Cu", 1.0, 10.0, "anna", 0, 0.0, "b", True, counted_by
        )
    )  # fmt: skip
    current_a = (2.08 - counted_by.offset_a) / counted_by.gain
    for t in range(6, HOUR_S + 1, 6):
        writer.put(Sample(run_id, float(t), current_a, 1.0, 2.0, current_a * t / HOUR_S))
    if ended:
        end = RunEnded(run_id, "complete", "target", 0, 3600.0, 3600.0, current_a, 0, 0, 0, 0)
        writer.put(end)
    writer.flush()


@pytest.fixture
def settings(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS)
    return path


@pytest.fixture
def record(settings, written):
    return shutil.copy(written, settings.with_name("record.sqlite"))


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """Run 1 uncorrected, calibration 1 of the supply, run 2 counted with it, run 3 open."""
    path = tmp_path_factory.mktemp("written") / "record.sqlite"
    writer = Writer(path, threaded=False)
    put_run(writer, 1, CountedBy())
    writer.keep_calibration(MADE)
    doubt = MADE.line.doubt(noise_a=0.002, clock=5e-5)
    put_run(writer, 2, CountedBy("supply", 1.02, 0.04, 1, doubt))
    put_run(writer, 3, CountedBy(), ended=False)
    writer.close()
    return path


@pytest.fixture
def tell(settings):
    """Run a command on the record; its exit code, what it printed, and its complaint."""

    def told(command, *words):
        result = CliRunner().invoke(command, [*words, "--settings", str(settings)])
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return result.exit_code, result.stdout, result.stderr

    return told


def ask(record, question, *words, **named):
    engine = open_reader(record)
    with engine.connect() as connection:
        found = question(connection, *words, **named)
    engine.dispose()
    return found


def test_an_uncorrected_run_is_shown_as_it_was_and_as_it_is_now_known(record, tell):
    code, out, _ = tell(recount_run, "1")

    assert code == 0
    # By hand: 2 A for an hour, 13.23 µm/Ah of copper on 1 dm², and for the doubt
    # 1.96·√((0.2 %·2)² + (1 mA·1 h)²) / 1.02, as a share of 2 Ah.
    assert out.splitlines() == [
        "run        1, Plate, counted by supply",
        "was        the reading as it comes",
        "           2.0800 Ah, how sure is not known, 27.52 µm, how sure is not known",
        "now        (reading - 0.04 A) / 1.02, calibration 1 of supply, 2025-11-25",
        "           2.000 ± 0.008 Ah (95 %), 26.46 ± 0.10 µm (95 %)",
        "change     -3.85 % of the charge",
    ]


def test_looking_changes_nothing(record, tell):
    before = ask(record, queries.ledger_entries, 1)
    tell(recount_run, "1")
    assert ask(record, queries.ledger_entries, 1) == before


def test_a_difference_is_entered_and_points_at_the_runs_end(record, tell):
    code, out, _ = tell(recount_run, "1", "--post")

    assert code == 0
    # The bath has seen 2.08, 2 and the open run's 2.08 Ah but for its last minute.
    assert "posted     -0.080000 Ah to bath" in out
    entries = ask(record, queries.ledger_entries, 1, limit=1000)
    newest = entries[0]
    assert (newest.kind, newest.run_id) == ("corrected", 1)
    assert newest.charge_ah == pytest.approx(-0.08, abs=1e-7)
    (corrected,) = [e for e in entries if e.id == newest.corrects_id]
    assert (corrected.kind, corrected.run_id) == ("run ended", 1)
    assert "counted with calibration 1 of supply, 2025-11-25" in newest.text
    assert ask(record, queries.one_run, 1).charge_ah == 2.08


def test_posting_twice_enters_once(record, tell):
    tell(recount_run, "1", "--post")
    before = ask(record, queries.ledger_entries, 1)
    code, out, _ = tell(recount_run, "1", "--post")

    assert (code, "posted     nothing: bath has this charge already" in out) == (0, True)
    assert ask(record, queries.ledger_entries, 1) == before


def test_a_corrected_run_goes_back_to_the_reading_before_it_goes_on(record, tell):
    writer = Writer(record, threaded=False)
    writer.keep_calibration(replace(MADE, line=MeterLine(1.04, 0.0, 0.002, 0.001)))
    writer.close()
    code, out, _ = tell(recount_run, "2")

    assert code == 0
    assert "was        (reading - 0.04 A) / 1.02, calibration 1 of supply" in out
    # 2.08 A / 1.04 is 2 A again.
    assert "now        (reading - 0 A) / 1.04, calibration 2 of supply" in out
    assert "change     +0.00 % of the charge" in out
    code, out, _ = tell(recount_run, "2", "--calibration", "1")
    assert "now        (reading - 0.04 A) / 1.02, calibration 1 of supply" in out


def test_while_the_daemon_runs_nothing_is_entered(record, tell):
    before = ask(record, queries.ledger_entries, 1)
    with RecordLock(record):
        code, out, complaint = tell(recount_run, "1", "--post")

    assert code == 1
    assert "change     -3.85 %" in out
    assert "the record is being written by another process" in complaint
    assert ask(record, queries.ledger_entries, 1) == before


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["9"], 1, "there is no run 9"),
        (["3"], 2, "run 3: it has not ended"),
        (["1", "--calibration", "7"], 1, "there is no calibration 7"),
    ],
)
def test_what_cannot_be_counted_again_says_why(record, tell, words, code, said):
    found, _, complaint = tell(recount_run, *words)
    assert (found, said in complaint) == (code, True)


def test_a_meter_that_was_never_calibrated_and_one_of_another_meter(record, tell):
    writer = Writer(record, threaded=False)
    put_run(writer, 4, CountedBy("shunt"))
    writer.close()

    code, _, complaint = tell(recount_run, "4")
    assert (code, "shunt, which counted it, was never calibrated" in complaint) == (2, True)
    code, _, complaint = tell(recount_run, "4", "--calibration", "1")
    said = "calibration 1: it is of supply, and run 4 was counted by shunt"
    assert (code, said in complaint) == (2, True)


def test_calibrations_are_listed(record, tell):
    writer = Writer(record, threaded=False)
    writer.keep_calibration(
        replace(MADE, meter="shunt", points=MADE.points[:1], note="after the move")
    )
    writer.close()
    code, out, _ = tell(calibrations)

    assert code == 0
    assert out.splitlines() == [
        "2  2025-11-25  shunt, zero only, by anna",
        "   with the output off",
        "   the meter shows 1.020000 ± 0.003920 times the current, +40.000 ± 1.960 mA (95 %)",
        "   after the move",
        "",
        "1  2025-11-25  supply, 2 points, by anna",
        "   with handheld, serial 4711, 0.5 % + 3 mA",
        "   the meter shows 1.020000 ± 0.003920 times the current, +40.000 ± 1.960 mA (95 %)",
    ]
    assert tell(calibrations, "supply")[1].count("serial 4711") == 1
    assert tell(calibrations, "other")[1] == "no calibration is in the record\n"


def test_without_a_record_there_is_one_clear_error(settings, tell):
    for command, words in ((calibrations, []), (recount_run, ["1"])):
        code, _, complaint = tell(command, *words)
        assert (code, "there is no record" in complaint) == (1, True)
