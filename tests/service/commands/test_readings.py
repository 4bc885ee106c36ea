"""`tankhand readings`: files that `tankhand recount` and others read; whole or not at all."""

import pytest
from click.testing import CliRunner
from pyarrow import parquet

from daemon.api.runs import readings_parquet
from daemon.record.entries import RunEnded, RunOpened, Sample
from daemon.record.errors import CorruptBlockError
from daemon.record.writer import Writer
from daemon.service.commands.cli import main

TOLD = ("--time-column", "elapsed_s", "--current-column", "current_A", "--current-is", "sample")


@pytest.fixture
def settings(tmp_path):
    """A record with a run of 2 A for an hour, a gap of a minute in it, and its settings."""
    path = tmp_path / "settings.toml"
    path.write_text('[supply]\nport = "none"\n[bath]\nname = "bath"\n')
    writer = Writer(tmp_path / "record.sqlite", threaded=False)
    writer.put(RunOpened(1, "bath", "=a,b", "", "Cu", 1.0, 25.0, "me", 0, 0.0, "b", True))
    charge_ah = 0.0
    for t in range(3601):
        if not 1800 < t < 1860:
            # Across the gap nothing was counted.
            charge_ah += 2 / 3600 if t and t != 1860 else 0.0
            writer.put(Sample(1, float(t), 2.0, 1.0, 2.0, charge_ah))
    writer.put(RunEnded(1, "complete", "", 0, 3600.0, 3600.0, charge_ah, 0.0, 2 / 60, 2.0, 25.0))
    writer.close()
    return path


def call(*words):
    result = CliRunner().invoke(main, [*map(str, words)])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def test_recount_counts_the_same_charge(settings, tmp_path):
    file = tmp_path / "night.csv"
    code, out, _ = call("readings", 1, "--csv", file, "--settings", settings)
    assert (code, out) == (0, f"written    {file}: 3542 readings of run 1\n")
    code, out, _ = call("recount", file, *TOLD, "--gap", "5 s")
    assert code == 0
    # By hand: 3540 s at 2 A are 1.966667 Ah; in the minute 0 to 0.033333 Ah can have passed.
    assert "charge     1.96667 Ah in, 0 Ah out" in out
    assert "gaps       1, 60 s in all" in out
    assert "rows       3542" in out
    assert "not read" not in out
    # The stamps say the same.
    code, out, _ = call("recount", file, "--time-column", "utc", *TOLD[2:], "--gap", "5 s")
    assert "charge     1.96667 Ah in, 0 Ah out" in out


def test_both_files_at_once(settings, tmp_path):
    files = tmp_path / "a.csv", tmp_path / "a.parquet"
    code, _, _ = call("readings", 1, "--csv", files[0], "--parquet", files[1],
                      "--settings", settings)  # fmt: skip
    assert code == 0
    assert parquet.read_table(files[1]).num_rows == 3542
    assert not list(tmp_path.glob("*.part"))


def test_what_cannot_be_written_is_told_and_leaves_nothing(settings, tmp_path, monkeypatch):
    there = tmp_path / "there.csv"
    there.write_text("mine")
    for words, code, said in (
        (("readings", 1), 2, "no file is named"),
        (("readings", 1, "--csv", there), 1, "is there already"),
        (("readings", 7, "--csv", tmp_path / "no.csv"), 1, "there is no run 7"),
        (("readings", 1, "--csv", tmp_path / "no" / "no.csv"), 1, "No such file"),
    ):
        got, out, err = call(*words, "--settings", settings)
        assert (got, out) == (code, "")
        assert said in err
    assert there.read_text() == "mine"
    monkeypatch.setattr(readings_parquet, "is_there", lambda: False)
    code, _, err = call("readings", 1, "--parquet", tmp_path / "no.parquet", "--settings", settings)
    assert code == 1
    assert "pip install 'tankhand[parquet]'" in err
    assert not list(tmp_path.glob("no*"))


def test_readings_that_break_off_leave_no_file(settings, tmp_path, monkeypatch):
    def broken(*_):
        yield [Sample(1, 0.0, 2.0, 1.0, 2.0, 0.0)]
        raise CorruptBlockError("a blob is damaged")

    monkeypatch.setattr("daemon.record.readings.pieces", broken)
    for option in ("--csv", "--parquet"):
        code, out, err = call("readings", 1, option, tmp_path / "no.file", "--settings", settings)
        assert (code, out) == (1, "")
        assert "a blob is damaged" in err
    assert not list(tmp_path.glob("no*"))
