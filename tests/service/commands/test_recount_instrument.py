"""`recount` against the charge counters of a real instrument: a battery cycler's log.

The log is tests/files/arbin_example.csv of the source distribution of `battery-data-toolkit`: a
real cell's last part of one cycle and the whole of the next, 2142 rows over 105 min, 0.1 ms to
5.07 s apart, with the instrument's own counters for charge in and out, which begin anew with each
cycle.

**Sample or mean.** The logged current is a sample. From 3307.44 s to 3312.51 s the row before has
5.667 A and the row after 0.0000 A; by the step's own clock the current ended 0.06 s into these
5.07 s. A mean would be 0.03 to 0.07 A there. The same the other way round at 0 s: 1.0999 A at
once, where a mean of the interval would be 1.0942 A.

**The difference** is what happened between two rows, and nothing else: where the current is
constant our sum and the counters agree within 0.003 %. Two kinds of it:

- The instrument goes to its next step between two rows. Samples cannot tell when; the trapezoid
  puts the jump in the middle. In the second cycle's charge one such interval makes +14.2 A·s of
  3861 A·s (+0.37 %), two others less than 3 A·s each. Put where the step's own clock says, 0.02 to
  0.05 % are left, all of one sign.
- When the voltage limit is reached the current falls from 4.4 A to 2.0 A within one interval of
  5.00 s, then more and more slowly. The chord lies above such a curve: each trapezoid is too much,
  in the discharge of the second cycle by 2.2 A·s together, most of it in the first.

`recount` says so itself: its 95 % interval, worked out from the file alone, holds the difference.

**Tolerance**: 0.06 % of the charge for the second kind, and half of each unseen jump times its
interval for the first; all within 0.4 %.
"""

import csv
import gzip
import hashlib
import math
import os
import subprocess
import sys
import tarfile
import tempfile
from itertools import groupby, pairwise
from operator import itemgetter
from pathlib import Path

import pytest
from click.testing import CliRunner

from daemon.service.commands.cli import main

NAME, VERSION = "battery-data-toolkit", "0.4.6"
ARCHIVE = "battery_data_toolkit-0.4.6.tar.gz"
SHA256 = "f62a073703d6652e53162fcbb3ebbf0f5f7036e127021d5beddf7c5c245f9797"
MEMBER = "battery_data_toolkit-0.4.6/tests/files/arbin_example.csv"
REMAINDER = 0.0006


def cached_archive():
    """The archive from the user's cache, or from the index that pip is configured for."""
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "tankhand"
    kept = cache / ARCHIVE
    if kept.exists() and hashlib.sha256(kept.read_bytes()).hexdigest() == SHA256:
        return kept
    cache.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=cache) as folder:
        wanted = Path(folder) / "wanted.txt"
        wanted.write_text(f"{NAME}=={VERSION} --hash=sha256:{SHA256}\n")
        # pip reads the package's metadata by its build tool, for which it makes an environment of
        # its own; it does so only after the hash was found right.
        done = subprocess.run(
            [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--no-binary", NAME,
             "--require-hashes", "--dest", folder, "--requirement", wanted],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        fetched = Path(folder) / ARCHIVE
        if done.returncode or not fetched.exists():
            pytest.fail(
                f"{NAME} {VERSION}, whose log of a real instrument this test counts, is not in "
                f"{cache} and cannot be had from the package index; with the index in reach it is "
                f"fetched once. pip says:\n{done.stderr}",
                pytrace=False,
            )
        if hashlib.sha256(fetched.read_bytes()).hexdigest() != SHA256:
            pytest.fail(f"{ARCHIVE} from the package index has another SHA-256", pytrace=False)
        fetched.replace(kept)
    return kept


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    path = tmp_path_factory.mktemp("instrument") / "arbin_example.csv"
    with tarfile.open(cached_archive()) as archive:
        path.write_bytes(archive.extractfile(MEMBER).read())
    return path


@pytest.fixture(scope="module")
def rows(log):
    with log.open(newline="") as file:
        return [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(file)]


@pytest.fixture(scope="module")
def cycles(rows):
    """The rows of each cycle, by its number as it stands in the file."""
    by_cycle = groupby(rows, itemgetter("Cycle_Index"))
    return {str(int(cycle)): list(group) for cycle, group in by_cycle}


def recounted(log, *options):
    """What `recount` says: in and out by cycle, A·h, and all of its text."""
    words = [
        "recount", log, "--time-column", "Test_Time", "--time-unit", "s", "--current-column",
        "Current", "--current-unit", "A", "--gap", "10 s", "--group-by", "Cycle_Index", *options,
    ]  # fmt: skip
    result = CliRunner().invoke(main, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    table = result.stdout.partition("\n\n")[2].splitlines()[1:]
    return {
        cycle: (float(in_ah), float(out_ah))
        for cycle, _, in_ah, out_ah, *_ in (line.split() for line in table)
    }, result.stdout


def by_instrument(group):
    """Charge in and out over a cycle by the instrument's counters, A·h."""
    return tuple(
        group[-1][counter] - group[0][counter]
        for counter in ("Charge_Capacity", "Discharge_Capacity")
    )


def unseen_ah(group, sign):
    """Half of each jump of one direction's current times its interval, where a step began."""
    return sum(
        abs(max(sign * a["Current"], 0) - max(sign * b["Current"], 0))
        * (b["Test_Time"] - a["Test_Time"]) / 2 / 3600
        for a, b in pairwise(group)
        if a["Step_Index"] != b["Step_Index"]
    )  # fmt: skip


def test_each_cycle_and_direction_against_the_instruments_counters(log, cycles):
    ours, _ = recounted(log, "--current-is", "sample")
    assert ours.keys() == cycles.keys() == {"1", "2"}
    for cycle, group in cycles.items():
        for ours_ah, their_ah, sign in zip(ours[cycle], by_instrument(group), (1, -1), strict=True):
            tolerance = REMAINDER * their_ah + unseen_ah(group, sign)
            assert ours_ah == pytest.approx(their_ah, rel=0, abs=tolerance)
            assert ours_ah == pytest.approx(their_ah, rel=0.004)


def test_with_the_steps_where_their_own_clock_puts_them_only_the_remainder_is_left(
    log, cycles, tmp_path
):
    """Two rows more at each step: the current before and after, at the moment it began."""
    path = tmp_path / "steps.csv"
    with path.open("w", newline="") as file:
        write = csv.writer(file).writerow
        write(["Test_Time", "Current", "Cycle_Index"])
        for cycle, group in cycles.items():
            before = group[0]
            for row in group:
                if row["Step_Index"] != before["Step_Index"]:
                    at_s = row["Test_Time"] - row["Step_Time"]
                    write([at_s, before["Current"], cycle])
                    write([at_s + 1e-9, row["Current"], cycle])
                write([row["Test_Time"], row["Current"], cycle])
                before = row
    ours, _ = recounted(path, "--current-is", "sample")
    for cycle, group in cycles.items():
        for ours_ah, their_ah in zip(ours[cycle], by_instrument(group), strict=True):
            assert 0 < ours_ah / their_ah - 1 < REMAINDER


def discharge(rows):
    """The second cycle's discharge: each row's time, current, our charge so far and theirs, A·s."""
    span = [r for r in rows if r["Cycle_Index"] == 2 and r["Step_Index"] == 12]
    first_ah = span[0]["Discharge_Capacity"]
    told, ours_as = [], 0.0
    for before, row in pairwise(span):
        interval_s = row["Test_Time"] - before["Test_Time"]
        ours_as -= (before["Current"] + row["Current"]) / 2 * interval_s
        theirs_as = (row["Discharge_Capacity"] - first_ah) * 3600
        told.append((row["Test_Time"], row["Current"], ours_as, theirs_as))
    return told


def just_counted(told):
    """The rows whose counter has just moved: it moves about once a second, and lags in between."""
    return [row for before, row in pairwise(told) if row[3] != before[3]]


def test_where_the_current_is_constant_sum_and_counter_agree(rows):
    steady = just_counted([r for r in discharge(rows) if abs(r[1] + 4.4) < 0.001])
    (_, _, ours_from, theirs_from), (_, _, ours_to, theirs_to) = steady[0], steady[-1]
    assert theirs_to - theirs_from > 3700
    assert (ours_to - ours_from) / (theirs_to - theirs_from) == pytest.approx(1, rel=0, abs=3e-5)


def test_the_remainder_arises_where_the_current_falls_between_rows(rows):
    told = discharge(rows)
    full = just_counted([r for r in told if r[1] < -4.3])[-1]
    after = just_counted([r for r in told if r[1] > -4.3])
    excess_as = [ours - theirs - (full[2] - full[3]) for _, _, ours, theirs in after]
    assert after[0][1] > -2.1
    assert 1.5 < excess_as[0] < 2.0
    assert 2.0 < excess_as[-1] < 2.4


def test_the_logged_current_is_a_sample(rows):
    """At the longest jumps the logged current is the one at the row, far from the interval's mean.

    What passed in the interval is the instrument's own count of it.
    """
    jumps = [
        (a, b)
        for a, b in pairwise(rows)
        if a["Step_Index"] == 8 and b["Step_Index"] == 9 and b["Test_Time"] - a["Test_Time"] > 5
    ]
    assert len(jumps) == 1
    before, after = jumps[0]
    passed_as = (after["Charge_Capacity"] - before["Charge_Capacity"]) * 3600
    mean_a = passed_as / (after["Test_Time"] - before["Test_Time"])
    assert before["Current"] > 5.6
    assert mean_a > 0.02
    assert after["Current"] == 0.0


def test_taken_for_a_mean_the_charge_is_further_off(log, cycles):
    """Out in both cycles, where no long interval hides a jump: by 0.05 % and by 0.23 %."""
    samples, _ = recounted(log, "--current-is", "sample")
    means, _ = recounted(log, "--current-is", "mean")
    for cycle, group in cycles.items():
        _, their_ah = by_instrument(group)
        assert abs(samples[cycle][1] / their_ah - 1) < REMAINDER
        assert abs(means[cycle][1] / their_ah - 1) > 0.002


def test_the_stated_interval_holds_the_instruments_net_charge(log, cycles):
    _, text = recounted(log, "--current-is", "sample", "--gain-limit", "0.06 %")
    (line,) = [line for line in text.splitlines() if line.startswith("net")]
    _, value, _, _, half, *_ = line.split()
    theirs = [by_instrument(group) for group in cycles.values()]
    their_ah = math.fsum(in_ah - out_ah for in_ah, out_ah in theirs)
    assert abs(float(value) - their_ah) < float(half) < 0.008


def test_packed_and_through_standard_input_it_comes_to_the_same(log):
    words = ["recount", "-", "--time-column", "Test_Time", "--time-unit", "s", "--current-column",
             "Current", "--current-unit", "A", "--gap", "10 s", "--group-by", "Cycle_Index",
             "--current-is", "sample"]  # fmt: skip
    done = subprocess.run(
        [sys.executable, "-m", "daemon.service.commands.cli", *words],
        input=gzip.compress(log.read_bytes()), capture_output=True, check=True,
    )  # fmt: skip
    _, text = recounted(log, "--current-is", "sample")
    assert done.stdout.decode().splitlines()[1:] == text.splitlines()[1:]
