"""What is remembered of alarms: not more than is needed, however long the daemon runs."""

from daemon.control.protection import alarms as life
from daemon.control.protection import causes
from daemon.control.protection.alarms import NO_ALARMS, Sign
from daemon.control.protection.effects import DEFAULT_TABLE
from daemon.control.states import State
from daemon.service.telling.memory import MOST_RECENT, Memory, remembered
from daemon.service.telling.tank import Current, Tank

TANK = Tank(State.IDLE, Current.OFF)


def test_alarms_that_are_over_are_let_go_in_the_end_the_oldest_first():
    memory, alarms = Memory(TANK), NO_ALARMS
    stands = Sign(causes.BATH_COLD, "16 °C")
    for second in range(3 * MOST_RECENT):
        for signs in ([stands, Sign(causes.WHISKER, "0.1 A")], [stands]):
            changes = []
            alarms = life.advanced(alarms, signs, DEFAULT_TABLE, float(second), changes)
            alarms = life.acknowledged(alarms, None, "ina", changes)
            memory = remembered(memory, changes, alarms.standing, TANK, float(second))
    numbers = sorted(memory.recent)
    assert len(numbers) == MOST_RECENT + 1
    assert numbers[0] == 1  # the one that still stands
    assert numbers[-1] == alarms.next_number - 1
    assert memory.waiting_s == {}


def test_an_alarm_that_came_and_went_between_two_pictures_is_remembered():
    changes = []
    alarms = life.advanced(NO_ALARMS, [Sign(causes.WHISKER, "0.1 A")], DEFAULT_TABLE, 5.0, changes)
    alarms = life.advanced(alarms, [], DEFAULT_TABLE, 6.0, changes)
    alarms = life.acknowledged(alarms, None, "ina", changes)
    memory = remembered(Memory(TANK), changes, alarms.standing, TANK, 7.0)
    (recent,) = memory.recent.values()
    assert (recent.alarm.cause, recent.over_s, recent.by) == (causes.WHISKER, 7.0, "ina")
