"""`tankhand weigh` and `weighings`: over a real record, kept by a daemon's server."""

import math
from contextlib import ExitStack

import pytest
from click.testing import CliRunner

from daemon.bath import weighings
from daemon.chemistry.metals import metal_named
from daemon.chemistry.uncertainty import MeterDoubt
from daemon.record import bath_entries
from daemon.record.entries import BathEntered, CountedBy, RunEnded, RunOpened, Sample
from daemon.record.store import open_reader
from daemon.record.writer import Writer
from daemon.service.commands.cli import main
from daemon.service.starts.known import known_by
from tests.plates import LARGE_PLATE as PLAN

SETTINGS = '[supply]\nport = "/dev/ttyUSB0"\n[bath]\nname = "bath A"\n'
WHOLE_G = 2.370987
"""2 A·h of copper(II): 2·3600·63.546/(2·96485.33212) g."""


@pytest.fixture
def settings(tmp_path, monkeypatch):
    path = tmp_path / "settings.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    monkeypatch.setenv("TANKHAND_SETTINGS", str(path))
    return path


@pytest.fixture
def record(settings, tmp_path, serve_bath):
    """A record that a daemon keeps: runs 1 to 6 of 2 A·h each in bath A, run 7 in another."""
    writer = Writer(tmp_path / "record.sqlite", threaded=False)
    for run_id in range(1, 8):
        writer.put(
            RunOpened(
                run_id, "bath A" if run_id < 7 else "bath B", "Plate", PLAN, "Cu", 4.0, 10.0,
                "anna", 0, 0.0, "b", True,
                CountedBy("supply", doubt=MeterDoubt(gain=0.005)),
            )
        )  # fmt: skip
        writer.put(Sample(run_id, 0.0, 2.0, 1.0, 2.0, 0.0))
        writer.put(Sample(run_id, 3600.0, 2.0, 1.0, 2.0, 2.0))
        writer.put(RunEnded(run_id, "complete", "", 0, 3600.0, 3600.0, 2.0, 0.0, 0.0, 2.3, 6.0))
    assert writer.flush()
    serve_bath(settings, writer)
    yield writer
    writer.close()


def call(*words, **more):
    """Exit code, stdout and stderr."""
    result = CliRunner().invoke(main, [*map(str, words)], **more)
    assert result.exception is None or isinstance(result.exception, SystemExit)
    return result.exit_code, result.stdout, result.stderr


def weigh(run, efficiency, *words, before_g=50.0, **more):
    """Weigh what a run at this efficiency has gained."""
    after_g = before_g + efficiency * WHOLE_G
    return call(
        "weigh", run, "--before", f"{before_g:.3f} g", "--after", f"{after_g:.3f} g", *words, **more
    )


def row(out, name):
    return (
        next(line for line in out.splitlines() if line.startswith(name)).removeprefix(name).strip()
    )


def test_an_efficiency_and_its_doubt(record):
    code, out, err = weigh(1, 0.99, "--balance", "0.01 g")
    assert (code, err) == (0, "")
    # 50.000 to 52.347 g, each ± 0.01 g: u = 0.01·√(2/3) g, and 0.5 % of the meter.
    assert row(out, "gain").startswith(
        "2.347 ± 0.016 g (95 %); Faraday's law gives 2.371 g at 100 %"
    )
    assert row(out, "efficiency") == "99.0 ± 1.2 % (95 %)"
    assert "gain 6" in row(out, "doubt")
    assert row(out, "learned") == "Cu(II): 1 of 3 weighings, 2 more are wanted"
    assert "taken" not in out


def test_a_balance_is_taken_to_be_off_by_a_digit(record):
    _, out, _ = weigh(1, 0.99)
    assert row(out, "taken").startswith("balance ± 0.001 g, one digit (common practice)")
    _, out, _ = call("weigh", 1, "--before", "50.0 g", "--after", "52.35 g")
    assert row(out, "taken").startswith("balance ± 0.1 g")


def test_what_is_kept_is_learned_and_stands_in_plans_that_give_none(record, settings):
    for run, value in enumerate((0.985, 0.990, 0.980), start=1):
        code, out, _ = weigh(run, value, "--keep")
        assert code == 0
    assert row(out, "learned").startswith("Cu(II): 98.5 ± ")
    assert "entry 4" in out  # after the bath's description
    code, out, _ = call("weighings")
    assert code == 0
    assert len(out.splitlines()) >= 4
    assert "run 3, Cu(II): 50 g to 52.324 g, 98.0 ± 1" in out
    told = []
    with ExitStack() as stack:
        known = known_by(settings.with_name("record.sqlite"), "bath A", stack)(told.append)
        found = known.efficiency(metal_named("Cu(II)"))
        assert known.efficiency(metal_named("Ni")) is None
    assert found.value == pytest.approx(0.985, abs=1e-4)
    # Gains of 2.335, 2.347 and 2.324 g: s = 0.0115 g of 2.371 from run to run, with Student's 4.303
    # at 2 degrees of freedom and √(4/3) for the next run; 1.960 times 0.5 % of the meter.
    scatter = 4.303 * 0.01150 / WHOLE_G * math.sqrt(4 / 3)
    half = math.hypot(scatter, 1.960 * 0.005 * 0.985)
    assert found.uncertainty == pytest.approx(half / 0.985, rel=0.005)
    assert told == ["efficiency 98.5 ± 2.6 % (95 %) by 3 weighings, since the plan gives none"]


def test_a_weighing_may_be_withdrawn_and_done_again(record):
    weigh(1, 0.99, "--keep")
    code, _, err = weigh(1, 0.98, "--keep")
    assert code == 2
    assert "run 1: was weighed already, entry 2: `tankhand bath withdraw 2` first" in err
    assert call("bath", "withdraw", "2")[0] == 0
    assert weigh(1, 0.98, "--keep")[0] == 0
    assert "99.0" not in call("weighings")[1]


def test_more_than_faraday_allows_is_asked_about_and_never_averaged_in(record):
    code, out, err = weigh(1, 1.05, "--keep")
    assert code == 2
    assert "efficiency 105" in out.replace("  ", " ")
    assert "more was gained than 2 Ah can have deposited" in err
    assert "--doubtful" in err
    assert weigh(1, 1.05, "--doubtful", "include")[0] == 2
    code, out, _ = weigh(1, 1.05, "--keep", "--doubtful", "leave-out")
    assert code == 0
    assert "not averaged in" in out
    assert row(out, "learned").startswith("Cu(II): 0 of 3 weighings")
    assert "not averaged in" in call("weighings")[1]


@pytest.mark.parametrize(("choice", "number"), [("include", 5), ("leave-out", 4)])
def test_an_outlier_is_asked_about(record, choice, number):
    for run, value in enumerate((0.980, 0.984, 0.978, 0.982), start=1):
        weigh(run, value, "--keep")
    code, out, err = weigh(5, 0.90, "--keep")
    assert code == 2
    assert "Grubbs's test" in err
    assert "entry" not in out
    code, out, _ = weigh(5, 0.90, "--keep", "--doubtful", choice)
    assert code == 0
    assert f"by {number} weighings" in " ".join(out.split())


def test_at_a_terminal_the_doubtful_one_is_asked_about(record, mocker):
    mocker.patch("daemon.service.commands.questioning.at_a_terminal", return_value=True)
    code, out, _ = weigh(1, 1.05, "--keep", input="leave-out\n")
    assert code == 0
    assert out.count("more was gained") == 1
    assert "entry 2" in out


def test_a_trusted_efficiency_gives_the_area_of_one_part_of_several(record):
    # A part that gained a quarter of 2.371 g, of 4 dm² in all. Balance 1.38 % and meter 0.5 %, u.
    code, out, err = weigh(1, 0.25, "--trust", "100 %", "--balance", "0.01 g")
    assert (code, err) == (0, "")
    assert row(out, "area").startswith("1.000 ± 0.028 dm² (95 %), if the efficiency is 100 %")
    assert row(out, "plan") == 'area = "1 dm²"'
    assert "learned" not in out
    weigh(1, 0.25, "--trust", "100 %", "--keep")
    assert "not averaged in" in call("weighings")[1]


CANNOT = [
    (("1", "--before", "31 g", "--after", "24 g"), 2, "after: 24 g is no more than the 31 g"),
    (("1", "--before", "31", "--after", "34 g"), 2, "before: expected a mass"),
    (("1", "--before", "31 g", "--after", "34 m"), 2, "after: expected a mass"),
    (("1", "--before", "0 g", "--after", "34 g"), 2, "before: must be above 0 g"),
    (("1", "--before", "31 g", "--after", "33 g", "--balance", "0 g"), 2, "balance"),
    (("1", "--before", "31 g", "--after", "33 g", "--trust", "120 %"), 2, "trust"),
    (("1", "--before", "31 g", "--after", "33 g", "--doubtful", "no"), 2, "doubtful"),
    (("1", "--before", "31 g", "--after", "33 g", "--at", "2026-11-20 18:00"), 2, "--keep"),
    (("99", "--before", "31 g", "--after", "33 g"), 1, "there is no run 99"),
    (("7", "--before", "31 g", "--after", "33 g"), 2, "was plated in 'bath B'"),
]


def test_what_cannot_be_weighed(record):
    for words, code, said in CANNOT:
        found = call("weigh", *words)
        assert found[0] == code
        assert said in found[2]
    assert call("weighings") == (0, "nothing was weighed yet\n", "")


def test_other_weighings_in_the_account_teach_nothing(record, tmp_path):
    facts = {"what": "anodes", "before_g": 900.0, "after_g": 880.0}
    record.keep_bath_entry(BathEntered("bath A", "weighing", "anna", 0, 0, facts=facts))
    engine = open_reader(tmp_path / "record.sqlite")
    with engine.connect() as connection:
        entries = bath_entries.all_of(connection, "bath A")
    engine.dispose()
    assert weighings.kept(entries) == ()
