"""Points at a terminal and from a file, and the command over a real control socket."""

import itertools
from dataclasses import fields

import pytest
from click.testing import CliRunner

from daemon.api.errors import InputError
from daemon.api.socket.messages import MeterStatus, Status
from daemon.chemistry.calibration import Point
from daemon.control.panel import Correction, MeterFacts, Panel
from daemon.service.commands import guided
from daemon.service.commands.calibrate import calibrate
from daemon.service.socket.server import ControlServer, Desk
from drivers.contracts import Rating

DESK = [each.name for each in fields(Desk)]
RATING = Rating(current_a=5.0, voltage_v=30.0, current_step_a=0.001, voltage_step_v=0.01)
FILE = """\
reading_a, u_reading_a, reference_a
0.0101, 0.0001, 0
1.0203, 0.0001, 1.000
3.0400, 0.0002, 3.000
"""


class Tank:
    """A daemon whose shunt reads 1.01 times the current and 10 mA; a reading at each look."""

    step_a = 0.0

    def __init__(self, *currents_a):
        self.now_s = 0.0
        self.currents_a = iter(currents_a)
        self.current_a = next(self.currents_a)

    def status(self):
        self.now_s += 0.5
        shown_a = 1.01 * self.current_a + 0.010 + 0.0001 * (-1) ** round(2 * self.now_s)
        meter = MeterStatus(
            name="shunt",
            counts=True,
            current_a=shown_a,
            raw_current_a=shown_a,
            voltage_v=None,
            age_s=0.1,
            step_a=self.step_a,
        )
        return Status(
            state="running",
            utc="2026-11-25T00:00:00+00:00",
            monotonic_s=self.now_s,
            rate=1.0,
            current_a=shown_a,
            voltage_v=None,
            reading_age_s=0.1,
            mode=None,
            output_on=self.current_a > 0,
            supply="supply",
            run=None,
            bath="bath",
            bath_charge_ah=0.0,
            meters=(meter,),
        )


class Person:
    """Types what is written here; the tank goes to its next current where it says so."""

    def __init__(self, tank, *typed):
        self.tank = tank
        self.typed = iter(typed)
        self.asked = []
        self.heard = []

    def ask(self, question):
        self.asked.append(question)
        typed = next(self.typed)
        if typed == "next current":
            self.tank.current_a = next(self.tank.currents_a)
            typed = next(self.typed)
        return typed

    def say(self, text):
        self.heard.append(text)


def taken(person, meter="shunt"):
    """The points that the person takes, with a reference that was named beforehand."""
    bench = guided.Bench(person.tank.status, meter, 4.0, person, lambda _: None)
    points, _ = guided.take_points(bench, lambda: guided.Reference("handheld", "0.5 % + 3 mA"))
    return points


def reference_of(points):
    return [point.reference_a for point in points]


def test_a_whole_comparison():
    tank = Tank(1.0, 2.0, 3.0, 0.0)
    person = Person(tank, "1.000", "next current", "2.000 A", "next current", "3000 mA", "done")
    points = taken(person)

    assert reference_of(points) == [1.0, 2.0, 3.0]
    assert [p.reading_a for p in points] == pytest.approx([1.02, 2.03, 3.04], abs=1e-4)
    assert all(0 < p.u_reading_a < 1e-4 for p in points)
    # The last digit that was typed: 1 mA over √12.
    assert [p.u_reference_a for p in points] == pytest.approx([1e-3 / 12**0.5] * 3)
    assert person.heard[1] == "reading shunt for 4 s ..."
    assert "no line yet" in person.heard[2]
    assert "the meter shows 1.010000" in person.heard[-1]
    assert "+10.0" in person.heard[-1]


def test_with_the_output_off_it_is_the_zero_that_is_asked_for():
    person = Person(Tank(0.0), "", "done")
    (point,) = taken(person)

    assert person.asked[0] == "point 1: the output is off, Enter takes the zero"
    assert (point.reference_a, point.u_reference_a) == (0.0, 0.0)
    assert person.heard[-1] == "the zero alone: the meter shows +10.000 mA for no current"


def test_a_point_can_be_dropped():
    tank = Tank(1.0, 2.0)
    person = Person(tank, "9.000", "drop", "1.000", "next current", "2.000", "done")
    assert reference_of(taken(person)) == [1.0, 2.0]


def test_what_cannot_be_used_is_told_and_asked_again():
    person = Person(Tank(1.0), "1,0", "1.000", "drop", "done")
    assert taken(person) == ()
    assert "decimal comma" in person.heard[1]
    assert person.asked[0] == person.asked[1] == "point 1: the reference shows, A"


def test_a_current_while_the_output_is_off_is_not_taken_for_a_zero():
    person = Person(Tank(0.0), "1.000", "", "done")
    assert reference_of(taken(person)) == [0.0]
    assert person.heard[1] == (
        "the output is off: a current can be compared once a run is under way"
    )


def test_done_is_not_done_while_the_points_say_nothing():
    tank = Tank(1.0, 2.0)
    person = Person(tank, "1.000", "done", "next current", "2.000", "done")
    assert reference_of(taken(person)) == [1.0, 2.0]
    assert person.heard[3].startswith("no line yet: a single point can only set the zero")


def test_the_reference_is_asked_for_with_the_first_current_and_until_it_can_be_used():
    tank = Tank(0.0, 1.0)
    person = Person(
        tank, "", "next current", "", "", "handheld", "good", "0.5 % + 3 mA", "1.000", "done"
    )
    bench = guided.Bench(tank.status, "shunt", 4.0, person, lambda _: None)
    points, reference = guided.take_points(
        bench, lambda: guided.ask_reference(person, name=None, written=None)
    )
    assert reference_of(points) == [0.0, 1.0]
    assert (reference.name, reference.written) == ("handheld", "0.5 % + 3 mA")
    assert "the output was switched: take this point again" in person.heard
    assert [question.split(",")[0] for question in person.asked] == [
        "point 1: the output is off",
        "point 2: the output is off",
        "which reference is it",
        "which reference is it",
        "its class",
        "its class",
        "point 2: the reference shows",
        "point 3: the reference shows",
    ]


def test_a_point_that_does_not_fit_is_told():
    tank = Tank(1.0, 2.0, 3.0, 4.0)
    typed = ["1.000", "2.000", "3.400", "4.000"]
    steps = itertools.chain(*(["next current", word] for word in typed[1:]))
    person = Person(tank, typed[0], *steps, "done")
    taken(person)
    assert "point 3 does not fit" in person.heard[-1]


@pytest.mark.parametrize(("step_a", "told"), [(0.0, True), (0.01, False)])
def test_what_the_meters_own_steps_explain_is_no_misfit(step_a, told):
    tank = Tank(1.0, 2.0, 3.0, 4.0)
    tank.step_a = step_a
    later = (["next current", word] for word in ("2.000", "3.004", "4.000"))
    person = Person(tank, "1.000", *itertools.chain(*later), "done")
    taken(person)
    assert ("point 3 does not fit" in person.heard[-1]) is told


def test_a_meter_that_is_not_there_is_told():
    person = Person(Tank(1.0), "1.000", "done")
    with pytest.raises(InputError, match=r"^meter: expected one of shunt, got 'shnt'$"):
        taken(person, meter="shnt")
    assert person.asked == []


def test_the_output_that_goes_off_while_one_types_makes_no_zero_of_a_point():
    person = Person(Tank(1.0, 0.0), "next current", "1.000", "done")
    assert taken(person) == ()
    assert "output was switched" in person.heard[-1]


def test_points_from_a_file(tmp_path):
    path = tmp_path / "points.csv"
    path.write_text(FILE)
    zero, one, three = guided.read_points(path)

    assert zero == Point(0.0101, 0.0001, 0.0, 0.0)
    assert (one.reading_a, one.reference_a) == (1.0203, 1.0)
    assert one.u_reference_a == pytest.approx(1e-3 / 12**0.5)
    assert three.u_reading_a == 0.0002


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "line 1 has to name the columns"),
        ("reading, reference\n1, 1\n", "reading_a, reference_a, u_reading_a"),
        (FILE + "1.0, x, 1.0\n", r"points\.csv, line 5: expected numbers in A"),
        (FILE + "1.0\n", r"line 5: expected"),
        (FILE + "nan, 0.1, 1.0\n", r"line 5: .*finite"),
        (FILE + "1.0, -0.1, 1.0\n", r"line 5: .*at least 0"),
        (FILE + "1.0, 0.1, one\n", r"line 5: expected a current"),
        ("\xff\x00", "line 1|no CSV"),
    ],
)
def test_a_file_that_cannot_be_used_says_where(tmp_path, text, said):
    path = tmp_path / "points.csv"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(InputError, match=said):
        guided.read_points(path)


def test_a_file_that_is_not_there_says_so(tmp_path):
    with pytest.raises(InputError, match="cannot be read: No such file"):
        guided.read_points(tmp_path / "points.csv")


class Daemon:
    """What is behind the socket."""

    def __init__(self, path, *currents_a):
        self.tank = Tank(*currents_a)
        self.kept = []
        self.refusals = iter([])
        panel = Panel({"supply": MeterFacts(Correction(), None)}, "supply", 1.0)
        self.server = ControlServer(
            path,
            self.tank.status,
            None,
            RATING,
            panel,
            Desk(**dict.fromkeys(DESK) | {"calibrate": self.keep}),
            None,
            (),
            None,
        )
        self.server.start()

    def keep(self, request):
        for refusal in self.refusals:
            raise InputError(request.meter, (refusal,))
        self.kept.append(request)


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A daemon, and a way to run the command on it."""
    (tmp_path / "settings.toml").write_text('supply = { port = "none" }\nbath = { name = "b" }\n')
    (tmp_path / "points.csv").write_text(FILE)
    # The tank's time goes on with each look.
    monkeypatch.setattr("daemon.service.commands.calibrate.time.sleep", lambda _: None)
    daemon = Daemon(tmp_path / "control.sock", 0.0)

    def run(*words, typed=""):
        command = [*words, "--settings", str(tmp_path / "settings.toml")]
        result = CliRunner().invoke(calibrate, command, input=typed)
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return result.exit_code, result.stdout, result.stderr

    daemon.run = run
    daemon.points = str(tmp_path / "points.csv")
    yield daemon
    daemon.server.stop()


REFERENCE = ("--reference", "handheld, serial 4711", "--class", "0.5 % + 3 mA")


def test_points_from_a_file_are_kept_without_a_question(bench):
    code, out, _ = bench.run("shunt", *REFERENCE, "--points", bench.points, "--note", "new")

    assert code == 0
    assert out.endswith("kept: shunt is corrected by this from the next run on\n")
    (request,) = bench.kept
    assert (request.meter, request.reference) == ("shunt", "handheld, serial 4711")
    assert (request.reference_class, request.note) == ("0.5 % + 3 mA", "new")
    assert reference_of(request.points) == [0.0, 1.0, 3.0]
    assert request.who


def test_a_zero_at_the_terminal_needs_no_reference_and_is_kept_when_the_person_says_so(bench):
    code, out, _ = bench.run("shunt", "--seconds", "2 s", typed="\ndone\ny\n")
    assert code == 0
    assert "Keep this calibration?" in out
    (request,) = bench.kept
    assert (request.reference, request.reference_class) == ("none, the output was off", "0 A")
    assert reference_of(request.points) == [0.0]

    bench.kept.clear()
    code, _, complaint = bench.run("shunt", "--seconds", "2 s", typed="\ndone\nn\n")
    assert (code, bench.kept, "nothing is kept" in complaint) == (1, [], True)


def test_a_refusal_does_not_lose_the_points(bench):
    bench.refusals = iter(["a run is under way"])
    code, _, complaint = bench.run("shunt", "--seconds", "2 s", typed="\ndone\ny\ny\n")
    assert (code, len(bench.kept)) == (0, 1)
    assert "not kept: shunt: a run is under way" in complaint


def test_a_refusal_of_a_file_ends_the_command(bench):
    bench.refusals = iter(["a run is under way"])
    code, _, complaint = bench.run("shunt", *REFERENCE, "--points", bench.points)
    assert (code, complaint) == (1, "tankhand: shunt: a run is under way\n")


@pytest.mark.parametrize(
    ("words", "typed", "code", "said"),
    [
        (["--points", "nothing.csv", *REFERENCE], "", 2, "nothing.csv: cannot be read"),
        (["--points", "nothing.csv"], "", 2, "--reference and --class have to be given"),
        (["--class", "good"], "", 2, "the reference's class: expected"),
        (["--seconds", "-1 s"], "", 2, "--seconds: expected more than 0 s, got '-1 s'"),
        (["--seconds", "5", *REFERENCE], "", 2, "without a unit"),
        (REFERENCE, "done\n", 1, "no points were taken"),
        (["--note", "x" * 501], "\ndone\n", 2, "note"),
    ],
)
def test_what_cannot_be_used_is_one_clear_error(bench, words, typed, code, said):
    found, _, complaint = bench.run("shunt", "--seconds", "1 s", *words, typed=typed)
    assert complaint.count("\n") == 1
    assert (found, said in complaint) == (code, True), complaint
    assert bench.kept == []


def test_without_a_daemon_there_is_one_clear_error(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text('supply = { port = "none" }\nbath = { name = "b" }\n')
    result = CliRunner().invoke(calibrate, ["shunt", *REFERENCE, "--settings", str(path)])
    assert (result.exit_code, "no daemon answers" in result.stderr) == (1, True)
