"""A status as `tankhand status` prints it: no line for what is not there."""

import pytest

from daemon.api.socket.messages import (
    MeterStatus,
    RippleStatus,
    RunStatus,
    ShareStatus,
    StageStatus,
    Status,
    ThermometerStatus,
)
from daemon.service.commands import report

SHUNT = MeterStatus(
    name="shunt",
    counts=True,
    current_a=3.498,
    raw_current_a=3.5,
    voltage_v=None,
    age_s=0.1,
    ripple=RippleStatus(rms_percent=2.1, peak_to_peak_percent=7.4, age_s=20.0),
)
SUPPLY = MeterStatus(
    name="supply",
    counts=False,
    current_a=3.512,
    raw_current_a=3.512,
    voltage_v=2.2,
    age_s=0.1,
    explained_a=0.052,
)
DOUBT = (ShareStatus(name="gain", u_um=0.15), ShareStatus(name="area", u_um=0.3))
RUN = RunStatus(
    run_id=12,
    title="Bracket",
    bath="Copper 1",
    started_utc="2026-03-01T18:00:00+00:00",
    running_s=29000.0,
    stage=0,
    stages=(StageStatus(name="Build", current_a=3.5, state="under way"),),
    area_dm2=3.6,
    charge_ah=16.853,
    gap_charge_ah=0.0,
    thickness_um=18.23,
    thickness_u95_um=0.66,
    doubt=DOUBT,
    target_um=25.0,
    mass_g=19.98,
    metal="Cu",
    remaining_s=None,
    set_current_a=3.5,
    set_voltage_v=4.0,
)


@pytest.fixture
def lines():
    """The lines of a status, as lists of their first word and the rest."""

    def of(**changes):
        fields = {
            "state": "running",
            "utc": "2026-03-02T02:10:00+00:00",
            "monotonic_s": 29000.0,
            "rate": 1.0,
            "current_a": 3.498,
            "voltage_v": 2.2,
            "reading_age_s": 0.2,
            "mode": None,
            "output_on": True,
            "supply": "bench supply",
            "run": RUN,
            "bath": "Copper 1",
            "bath_charge_ah": 182.4,
        }
        said = report.text(Status.model_validate(fields | changes)).splitlines()
        return [(line[:11].strip(), line[11:]) for line in said[1:]]

    return of


def told(lines, key):
    return [rest for word, rest in lines if word == key]


def test_a_thickness_comes_with_its_doubt_and_what_it_is_made_of(lines):
    said = lines()
    assert told(said, "thickness") == ["18.2 ± 0.7 µm (95 %), target 25 µm"]
    # 0.3² of 0.15² + 0.3² is 80 %; the square roots of 80 % and 20 % of 0.66 µm.
    assert told(said, "doubt of") == ["the plated area 0.59 µm, the meter's gain 0.30 µm"]


def test_a_thickness_without_a_known_doubt_is_a_plain_figure(lines):
    run = RUN.model_copy(update={"thickness_u95_um": 0.0, "doubt": ()})
    said = lines(run=run)
    assert told(said, "thickness") == ["18.2 µm, target 25 µm"]
    assert told(said, "doubt of") == []


def test_several_meters_are_listed_with_how_far_apart_they_are(lines):
    said = lines(meters=(SHUNT, SUPPLY))
    assert told(said, "meter") == [
        "shunt, 3.498 A, counts",
        "supply, 3.512 A, 0.014 A more; their doubt explains up to 0.052 A",
    ]
    assert told(said, "ripple") == ["shunt, 2.1 % rms, 7.4 % peak to peak"]


def test_where_no_meter_is_fast_enough_the_ripple_is_not_measured(lines):
    slow = SHUNT.model_copy(update={"ripple": None})
    assert told(lines(meters=(slow, SUPPLY)), "ripple") == ["shunt, not measured: read too slowly"]


def test_one_meter_is_no_list(lines):
    said = lines(meters=(SHUNT,))
    assert told(said, "meter") == []
    assert len(told(said, "ripple")) == 1


@pytest.mark.parametrize("state", ["held", "idle", "complete"])
def test_without_current_there_is_no_ripple_to_tell(lines, state):
    assert told(lines(meters=(SHUNT, SUPPLY), state=state, output_on=False), "ripple") == []


def test_the_baths_temperature_is_told_where_it_is_measured(lines):
    assert told(lines(), "temp.") == []
    seen = ThermometerStatus(name="bath", temperature_c=24.62, age_s=4.0)
    assert told(lines(thermometers=(seen,)), "temp.") == ["24.6 °C, bath"]
