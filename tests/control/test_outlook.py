"""A run against what was foretold: a notice after five minutes, and none for a moment's noise."""

from dataclasses import replace

import pytest

from daemon.control.outlook import Outlook, Row
from daemon.control.states import Act
from drivers.contracts import Reading

ROWS = (
    Row(0, 0.0, 0.9, 1.1, 20.0, 24.0),
    Row(0, 1.0, 0.7, 0.9, 24.0, 28.0),
)


@pytest.fixture
def plating(tank, plan, stage):
    """A tank that plates at 2 A from a ramp of 10 s on; gives looks at it."""
    made = plan(stage(2.0, ramp_s=10.0), target_ah=10.0)
    tank.start(made)
    return Plating(tank)


class Plating:
    def __init__(self, tank, run_id=1):
        self.tank, self.outlook = tank, Outlook(run_id, ROWS)
        self.events, self.bath_c = [], None

    def run_for(self, seconds, cell_v):
        """Look once a second, with this voltage."""
        self.tank.cell_v = lambda demand: cell_v if demand.output_on else 0.0
        for _ in range(round(seconds)):
            self.tank.run_for(1.0)
            for event in self.outlook.look(self.tank.situation, self.bath_c):
                self.events.append((self.tank.now_s - 1000.0, event))
        return self

    @property
    def kinds(self):
        return [event.kind for _, event in self.events]


def test_within_the_band_there_is_nothing_to_tell(plating):
    plating.run_for(900, 0.95)
    assert plating.events == []
    assert plating.outlook.words is None


def test_five_minutes_just_outside_are_told(plating):
    """From 40 s on (10 s of ramp, 30 s at rest) by 0.03 V beyond 1.1 V, of which 0.0226 V are the
    deadband's: the band's half-width is 0.1 V, so time counts 1.3 times and more as the band
    falls, by 0.2 V for each A·h, or 0.0333 V in 300 s.
    """
    plating.run_for(600, 1.13)
    (at_s, event), *more = plating.events
    assert more == []
    assert event.kind == "off the rehearsal"
    assert event.text.startswith("voltage 1.13 V, where 0.8")
    assert 40 + 300 / 1.8 < at_s < 40 + 300 / 1.3
    assert plating.outlook.words == event.text


def test_far_outside_is_told_four_times_as_soon(plating):
    plating.run_for(300, 2.5)
    ((at_s, _),) = plating.events
    assert at_s == pytest.approx(40 + 300 / 4, abs=3)


def test_a_short_disturbance_is_not_told(plating):
    for _ in range(6):
        plating.run_for(40, 1.5).run_for(200, 0.95)
    assert plating.events == []


def test_it_is_over_when_it_was_as_foretold_for_as_long(plating):
    plating.run_for(300, 2.5).run_for(400, 0.95)
    assert plating.kinds == ["off the rehearsal", "as rehearsed again"]
    assert plating.outlook.words is None
    _, back_s = (at_s for at_s, _ in plating.events)
    assert back_s == pytest.approx(300 + 300, abs=5)


def test_the_deadband_keeps_it_told_at_the_edge(plating):
    """Out at 1.5 V; then a hair outside: not enough to be told, and not enough to be over."""
    plating.run_for(300, 1.5)
    assert plating.kinds == ["off the rehearsal"]
    edge = Outlook(1, [replace(row, least_v=0.8, greatest_v=1.0) for row in ROWS])
    plating.outlook, plating.events = edge, []
    plating.run_for(400, 1.015)
    assert plating.events == []
    plating.run_for(200, 1.5).run_for(900, 1.015)
    assert plating.kinds == ["off the rehearsal"]


def test_the_bath_is_held_against_its_own_band(plating):
    plating.bath_c = 30.0
    plating.run_for(400, 0.95)
    ((at_s, event),) = plating.events
    assert event.text.startswith("bath 30.0 °C, where 2")
    # 2 A from a ramp of 10 s on; with each A·h the band rises by 4 °C.
    least_c = 20.0 + 4.0 * 2.0 * (at_s - 5.0) / 3600.0
    assert event.data == {
        "value": 30.0,
        "least": pytest.approx(least_c, abs=0.01),
        "greatest": pytest.approx(least_c + 4.0, abs=0.01),
    }


@pytest.mark.parametrize(
    ("run_ah", "warmer_k"),
    [
        # 2 A from a ramp of 10 s on; of a row at 0 Ah and one 4 K warmer.
        (0.2, lambda charge_ah: 4.0 * charge_ah / 0.2),
        # The rehearsal came no further: what was foretold last holds on.
        (0.01, lambda _: 4.0),
    ],
)
def test_the_band_goes_in_straight_lines_from_row_to_row_and_then_stays(plating, run_ah, warmer_k):
    rows = (ROWS[0], replace(ROWS[1], charge_ah=run_ah))
    plating.outlook, plating.bath_c = Outlook(1, rows), 32.0
    plating.run_for(200, 0.9)
    ((at_s, event),) = plating.events
    least_c = 20.0 + warmer_k(2.0 * (at_s - 5.0) / 3600.0)
    assert event.data["least"] == pytest.approx(least_c, abs=0.05)
    assert event.data["greatest"] == pytest.approx(least_c + 4.0, abs=0.05)


def test_before_the_first_row_its_band_holds(plating):
    rows = [replace(row, charge_ah=row.charge_ah + 5.0) for row in ROWS]
    plating.outlook, plating.bath_c = Outlook(1, rows), 32.0
    plating.run_for(200, 1.0)
    ((_, event),) = plating.events
    assert (event.data["least"], event.data["greatest"]) == (20.0, 24.0)


def test_a_ramp_a_hold_and_another_run_are_not_compared(plating):
    plating.run_for(35, 2.5)
    assert plating.events == []
    plating.tank.tick(Act.HOLD)
    plating.run_for(600, 2.5)
    assert plating.events == []
    other = Plating(plating.tank, run_id=2)
    plating.tank.tick(Act.RESUME)
    other.run_for(600, 2.5)
    assert other.events == []


def test_a_reading_without_a_voltage_tells_nothing(plating):
    plating.run_for(60, 0.95)
    situation = plating.tank.situation
    blind = replace(situation, reading=Reading(situation.now_s + 1.0, 2.0, None))
    assert plating.outlook.look(blind, 40.0) == []
