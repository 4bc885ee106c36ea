"""A shunt that shows too much, compared with a reference: at a terminal, and in a browser."""

import getpass
import os
import random
import re
import select
import subprocess
import sys
from datetime import UTC, datetime

import pytest
from playwright.sync_api import expect

from daemon.api.socket.messages import StartRequest
from daemon.record import calibrations

GAIN, OFFSET_A, NOISE_A = 1.01, 0.00375, 0.0012
"""The shunt shows 1 % and 3 of its converter's counts too much, and a count of noise."""

REFERENCE, CLASS = "handheld, serial 4711", "0.05 % + 0.5 mA"

PLAN = """\
title = "Steady"
area = "1.8 dm²"
target = "{target_um:g} µm"
voltage_ceiling = "6 V"
caps = {{ charge = "2 Ah", duration = "5 h" }}
[[stage]]
name = "steady"
current = "{current_a:g} A"
"""

SURE = 2.0
"""How many of its stated 95 % intervals a figure may be off: five in a hundred are off by one."""

PATIENCE_S = 60.0
"""Real s until a command or a page that has not said what it should is taken for stuck."""


@pytest.fixture
def shunt_shows():
    noise = random.Random(1)
    return lambda current_a: GAIN * current_a + OFFSET_A + noise.gauss(0.0, NOISE_A)


@pytest.fixture
def daemon(new_daemon, kernel, free_port):
    return new_daemon(more=kernel.settings, page=free_port).start().ready()


@pytest.fixture
def no_current(kernel, wait_until):
    """Wait until no current flows in the tank, asked one after the other with the shunt."""

    def wait():
        wait_until(lambda: kernel.truth().current_a < 1e-3, "no current flows in the tank")

    return wait


@pytest.fixture
def steady(daemon, kernel, wait_until):
    """Start a run with one current and wait until it flows and the shunt shows it.

    Gives the digits that a reference shows then.
    """

    def steady(current_a, target_um=3.0):
        plan = PLAN.format(current_a=current_a, target_um=target_um)
        answer = daemon.client.ask(StartRequest(plan=plan, who="Ann"))
        assert answer.ok, answer.error

        def flows():
            status = daemon.status()
            meters = {meter.name: meter for meter in status.meters}
            shown_a = meters["shunt"].raw_current_a
            expected_a = GAIN * current_a + OFFSET_A
            true_a = kernel.truth().current_a
            near = abs(true_a - current_a) < 2e-3 and abs(shown_a - expected_a) < 6 * NOISE_A
            # The supply says once a second only that it is on.
            return near and status.output_on

        wait_until(flows, f"{current_a} A flow")
        return f"{kernel.truth().current_a:.4f}"

    return steady


@pytest.fixture
def stopped(daemon, no_current):
    """Stop the run, and wait until all is quiet."""

    def stopped():
        assert daemon.act("stop").ok
        daemon.until_state("stopped")
        no_current()

    return stopped


class Talk:
    """A command at a terminal, whose questions are heard before they are answered."""

    def __init__(self, settings, *words):
        command = [sys.executable, "-m", "daemon.service.commands.cli", *words]
        self._process = subprocess.Popen(
            [*command, "--settings", str(settings)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
        )  # fmt: skip
        self._heard = ""

    def hear(self, words):
        """Everything that it says up to and with these words."""
        fd = self._process.stdout.fileno()
        while words not in self._heard:
            ready, _, _ = select.select([fd], [], [], PATIENCE_S)
            said = os.read(fd, 4096).decode() if ready else ""
            assert said, f"{words!r} was not said, but: {self._heard}"
            self._heard += said
        before, self._heard = self._heard.split(words, 1)
        return before + words

    def type(self, line=""):
        self._process.stdin.write(f"{line}\n".encode())
        self._process.stdin.flush()

    def answer(self, question, line=""):
        self.hear(question)
        self.type(line)

    def end(self):
        """Its exit code."""
        self._process.communicate(timeout=PATIENCE_S)
        return self._process.returncode

    def kill(self):
        self._process.kill()
        self._process.communicate()


@pytest.fixture
def talk(daemon):
    """Give a command at a terminal."""
    talks = []

    def start(*words):
        talks.append(Talk(daemon.settings, *words))
        return talks[-1]

    yield start
    for started in talks:
        started.kill()


@pytest.fixture
def page(daemon, open_page):
    """A page in a browser, at the calibrations."""
    page, address = open_page()
    page.goto(f"{address}/calibration")
    return page


def tells(locator, text):
    expect(locator).to_contain_text(text)


def told_gain(comparison):
    """The next line that says how a meter shows a current: its gain and the ± of it."""
    told = re.search(r"shows ([\d.]+) ± ([\d.]+) times$", comparison.hear(" times"))
    return float(told[1]), float(told[2])


def kept(daemon):
    return daemon.record(calibrations.all_of)


def recounted(daemon, run_id):
    """What `recount-run` says: lines by their first word, and both charges with their ±, A·h."""
    code, lines, complaints = daemon.cli("recount-run", run_id)
    assert (code, complaints) == (0, [])
    figures = [
        tuple(map(float, pair)) for pair in re.findall(r"([\d.]+) ± ([\d.]+) Ah", str(lines))
    ]
    return {line.split()[0]: line for line in lines if not line.startswith(" ")}, *figures


def newest(daemon):
    """The newest calibration, and the day of it as it is listed."""
    calibration = kept(daemon)[0]
    return calibration, datetime.fromtimestamp(calibration.made.utc_ms / 1000, UTC).date()


def test_a_comparison_at_the_terminal_and_the_runs_before_and_after_it(
    daemon, kernel, steady, stopped, talk, no_current
):
    began = daemon.status().utc
    comparison = talk("calibrate", "shunt", "--seconds", "20 s")
    comparison.answer("point 1: the output is off, Enter takes the zero")
    comparison.hear("the zero alone: the meter shows +")
    shown = steady(0.5)
    comparison.answer("point 2: the output is off, Enter takes the zero")
    comparison.hear("the output was switched: take this point again")
    comparison.answer("which reference is it", REFERENCE)
    comparison.answer("its class", "good")
    comparison.hear("the reference's class: expected")
    comparison.answer("its class", CLASS)
    comparison.answer("point 2: the reference shows, A", shown)
    gain, u95 = told_gain(comparison)
    assert abs(gain - GAIN) < SURE * u95
    assert u95 < 0.005
    stopped()

    # The next run is counted as the shunt shows it, to its end, whatever is known meanwhile.
    start_ah = kernel.truth().charge_ah
    comparison.answer("point 3: the reference shows, A", steady(2.0, target_um=1.6))
    comparison.answer("point 4: the reference shows, A", "done")
    comparison.answer("Keep this calibration?", "y")
    comparison.hear("not kept: shunt: a run is under way, and it is counted to its end")
    assert kept(daemon) == []
    daemon.until_state("complete")
    no_current()
    true_before_ah = kernel.truth().charge_ah - start_ah
    comparison.answer("Try again?", "y")
    comparison.hear("kept: shunt is corrected by this from the next run on")
    assert comparison.end() == 0

    calibration, day = newest(daemon)
    made = calibration.made
    assert (made.meter, made.who) == ("shunt", getpass.getuser())
    assert (made.reference, made.reference_class) == (REFERENCE, CLASS)
    at_s = made.utc_ms / 1000
    assert datetime.fromisoformat(began).timestamp() < at_s
    assert at_s <= datetime.fromisoformat(daemon.status().utc).timestamp()
    assert [point.reference_a for point in made.points] == pytest.approx([0, 0.5, 2.0], abs=2e-3)
    assert made.line.gain == pytest.approx(GAIN, abs=2e-3)
    assert made.line.offset_a == pytest.approx(OFFSET_A, abs=2e-3)

    code, listed, _ = daemon.cli("calibrations")
    assert (code, listed[:2]) == (
        0,
        [f"1  {day}  shunt, 3 points, by {getpass.getuser()}", f"   with {REFERENCE}, {CLASS}"],
    )

    # The run before: as it was counted, and counted again.
    before = daemon.run_record(2)
    lines, was, now = recounted(daemon, 2)
    assert before.counted_by.calibration_id is None
    assert was[0] == pytest.approx(before.charge_ah, abs=6e-4)
    assert was[0] > 1.008 * true_before_ah
    assert lines["was"].endswith("the reading as it comes")
    assert lines["now"].endswith(f"calibration 1 of shunt, {day}")
    assert abs(now[0] - true_before_ah) < SURE * now[1]

    # The run after: right from the start, and surer.
    start_ah = kernel.truth().charge_ah
    steady(2.0, target_um=1.6)
    daemon.until_state("complete")
    no_current()
    true_after_ah = kernel.truth().charge_ah - start_ah
    after = daemon.run_record(3)
    _, own, _ = recounted(daemon, 3)
    assert after.counted_by.calibration_id == calibration.id
    assert abs(own[0] - true_after_ah) < SURE * own[1]
    assert own[1] < was[1] / 3
    assert daemon.run_record(2) == before
    assert daemon.end() == 0


def test_a_zero_at_the_terminal_needs_neither_run_nor_reference(daemon, talk):
    comparison = talk("calibrate", "shunt", "--seconds", "20 s")
    comparison.answer("point 1: the output is off, Enter takes the zero", "0.000")
    comparison.hear("the output is off: a current can be compared once a run is under way")
    comparison.answer("point 1: the output is off, Enter takes the zero")
    comparison.answer("point 2: the output is off, Enter takes the zero", "done")
    comparison.answer("Keep this calibration?", "y")
    comparison.hear("kept: shunt is corrected by this from the next run on")
    assert comparison.end() == 0
    calibration, day = newest(daemon)
    assert calibration.made.line.gain == 1.0
    assert calibration.made.line.offset_a == pytest.approx(OFFSET_A, abs=3 * NOISE_A)
    code, listed, _ = daemon.cli("calibrations", "shunt")
    first = f"{calibration.id}  {day}  shunt, zero only, by {getpass.getuser()}"
    assert (code, listed[:2]) == (0, [first, "   with the output off"])
    assert daemon.end() == 0


def test_points_from_a_file_are_refused_during_a_run_with_one_error(daemon, steady, tmp_path):
    path = tmp_path / "points.csv"
    path.write_text("reading_a, u_reading_a, reference_a\n0.004, 0.001, 0\n2.024, 0.001, 2.000\n")
    command = ("calibrate", "shunt", "--points", path, "--reference", REFERENCE, "--class", CLASS)
    steady(0.5)
    code, _, complaints = daemon.cli(*command)
    assert (code, kept(daemon)) == (1, [])
    (complaint,) = complaints
    assert complaint.startswith("tankhand: shunt: a run is under way")
    for wrong, said in (
        ({3: tmp_path / "none.csv"}, "none.csv: cannot be read"),
        ({7: "good"}, "the reference's class: expected"),
        ({1: "shnt"}, "meter: expected one of"),
    ):
        words = [wrong.get(k, word) for k, word in enumerate(command)]
        code, _, complaints = daemon.cli(*words)
        assert (code, len(complaints)) == (2, 1), complaints
        assert said in complaints[0]
    assert daemon.end() == 0


@pytest.mark.browser
def test_a_comparison_in_a_browser(daemon, page, steady, stopped, wait_until):
    tells(page.get_by_role("heading", level=1), "it was never compared")
    page.get_by_role("link", name="Compare the shunt").click()
    page.get_by_role("button", name="Take the zero").click()
    tells(page.locator(".compare"), "The zero alone: shows +")

    shows = page.get_by_label("The reference shows, A")
    shown = steady(0.5)
    page.get_by_role("link", name="look again").click()

    def asks_for_it():
        page.reload()
        return shows.is_visible()

    # The page's word of the daemon may be a quarter of a second old.
    wait_until(asks_for_it, "the page asks what the reference shows")
    shows.fill(shown.replace(".", ","))
    page.get_by_role("button", name="Take this point").click()
    tells(page.get_by_role("alert"), "a decimal comma where a point belongs")
    shows.fill(shown)
    page.get_by_role("button", name="Take this point").click()
    expect(page.locator(".compare tbody tr")).to_have_count(2, timeout=1e3 * PATIENCE_S)
    stopped()
    shown = steady(2.0)
    shows.fill(shown)
    page.get_by_role("button", name="Take this point").click()
    expect(page.locator(".compare tbody tr")).to_have_count(3, timeout=1e3 * PATIENCE_S)

    page.get_by_label("Reference", exact=True).fill(REFERENCE)
    page.get_by_label("Its class").fill(CLASS)
    page.get_by_label("You are").fill("Ann")
    page.get_by_role("button", name="Keep").click()
    tells(page.get_by_role("alert"), "Not done: shunt: a run is under way")
    assert kept(daemon) == []
    stopped()
    # All that was typed is still there.
    page.get_by_role("button", name="Keep").click()
    tells(page.get_by_role("status"), "From the next run on the shunt is corrected")
    calibration, day = newest(daemon)
    heading = page.get_by_role("heading", level=1)
    tells(heading, f"It was compared with {REFERENCE}, {day}, today.")

    made = calibration.made
    assert (made.who, made.reference) == ("Ann, the page at 127.0.0.1", REFERENCE)
    assert (made.reference_class, len(made.points)) == (CLASS, 3)
    assert made.line.gain == pytest.approx(GAIN, abs=4e-3)
    code, listed, _ = daemon.cli("calibrations")
    assert (code, listed[0]) == (0, f"1  {day}  shunt, 3 points, by Ann, the page at 127.0.0.1")

    # The next run is corrected by it.
    steady(2.0)

    def corrected():
        (shunt,) = (meter for meter in daemon.status().meters if meter.counts)
        return abs(shunt.current_a - 2.0) < 8e-3 and shunt.raw_current_a - shunt.current_a > 15e-3

    wait_until(corrected, "2 A are read as 2 A")
    stopped()
    assert daemon.run_record(3).counted_by.calibration_id == calibration.id
    assert daemon.end() == 0
