"""What tankhand would do: by its own detectors, step and settings."""

import pytest

from daemon.api.errors import InputError
from daemon.api.rehearsal.mishaps import Mishap
from daemon.service.rehearsal.mishaps import told
from daemon.service.rehearsal.spread import drawn
from daemon.service.rehearsal.walked import walk


@pytest.fixture
def rehearsed(staged):
    """Rehearse the plan with one mishap; gives it as it is found."""

    def rehearsed(mishap, copies=1, more=""):
        settings, stage = staged(copies, more)
        known = stage.known
        (tank,) = drawn(stage.plan, copies, known.facts, known.learned, stage.supply, None, draws=0)
        end_s = walk(stage.plan, tank.scenario, stage.rules).duration_s
        return told(settings, stage, tank, end_s, mishap)

    return rehearsed


def texts(found):
    return [line.text for line in found.lines]


def test_a_short_aborts_within_two_seconds(rehearsed):
    found = rehearsed(Mishap("short", 1800.0))
    assert found.title == "short at 0:30"
    assert found.lines[0].at_s == pytest.approx(1800.0)
    assert "alarm, high priority: short" in found.lines[1].text
    assert "output off at once" in found.lines[2].text
    assert found.lines[-1].text.startswith("aborted, no current seen, ")
    assert found.lines[-1].at_s - found.lines[0].at_s < 2.0
    assert "part the electrodes" in found.needs[0]


def test_one_of_four_parts_holds_the_run(rehearsed):
    found = rehearsed(Mishap("part lost", 1800.0), copies=4)
    assert found.title == "1 of 4 parts falls off at 0:30"
    said = "\n".join(texts(found))
    assert "medium priority: part lost" in said
    assert "tankhand holds the run" in said
    assert found.lines[-1].text.startswith("held, no current seen")
    assert 5.0 < found.lines[-1].at_s - 1800.0 < 60.0


def test_the_only_part_opens_the_circuit(rehearsed):
    assert "open circuit" in "\n".join(texts(rehearsed(Mishap("part lost", 1800.0))))


def test_a_whisker_is_told_and_the_run_goes_on(rehearsed):
    found = rehearsed(Mishap("whisker", 1800.0))
    said = "\n".join(texts(found))
    assert "medium priority: whisker" in said
    assert found.lines[-1].text.startswith("the run goes on")


@pytest.mark.parametrize(
    ("kind", "cause"),
    [
        ("bad contact", "bad contact"),
        ("open circuit", "open circuit"),
        ("output dropped", "output dropped"),
    ],
)
def test_each_other_mishap_is_told_by_its_name(rehearsed, kind, cause):
    assert f"priority: {cause}" in "\n".join(texts(rehearsed(Mishap(kind, 1800.0))))


def test_what_the_settings_say_is_what_is_done(rehearsed):
    found = rehearsed(Mishap("whisker", 1800.0), more='[effects.whisker]\nstop = "stop"\n')
    assert found.lines[-1].text.startswith("stopped, no current seen")


def test_a_power_cut_is_bounded_and_waits_for_a_person(rehearsed):
    """In 30 min at 4 A at most 2 Ah can have passed.

    At 30 min, of which the ramp of 2 min counts half, 29 min * 4 A are 1.933 of 3.779 Ah: 12.8 µm.
    """
    found = rehearsed(Mishap("power cut", 1800.0, 1800.0))
    said = texts(found)
    assert found.lines[1].at_s == pytest.approx(3600.0)
    assert "closed as aborted, 12.8 of 25 µm" in said[1]
    assert "between 0 and 2 Ah" in said[2]
    assert "waits for a person" in said[-2]
    # The middle of what is not known: 1 Ah more on the part, 0.846 Ah are left, 12.7 min, and a
    # minute of the ramp.
    assert "goes on in stage 1, build, for about 14 min" in said[-1]


def test_or_goes_on_by_itself_where_the_settings_say_so(rehearsed):
    more = '[after_interruption]\ngo_on = true\nwithin = "10 min"\n'
    short = rehearsed(Mishap("power cut", 1800.0, 300.0), more=more)
    assert any("by itself" in text for text in texts(short))
    long = rehearsed(Mishap("power cut", 1800.0, 1200.0), more=more)
    assert not any("by itself" in text for text in texts(long))


def test_a_mishap_after_the_end_is_refused(rehearsed):
    with pytest.raises(InputError, match="short at 2:00: the run is over after 0:58"):
        rehearsed(Mishap("short", 7200.0))
