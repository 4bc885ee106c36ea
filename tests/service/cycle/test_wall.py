"""Steps of the wall clock, seen against the monotonic one."""

from datetime import UTC, datetime, timedelta

from daemon.service.cycle.wall import WallWatch

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def test_the_first_look_has_nothing_to_compare_with():
    assert WallWatch().stepped_s(5.0, NOON) is None


def test_clocks_that_go_together_make_no_step():
    watch = WallWatch()
    watch.stepped_s(5.0, NOON)
    assert watch.stepped_s(3605.0, NOON + timedelta(hours=1)) is None


def test_a_step_is_told_once_with_its_sign_and_size():
    watch = WallWatch()
    watch.stepped_s(5.0, NOON)
    stepped_s = watch.stepped_s(6.0, NOON + timedelta(seconds=1 - 7200))
    assert round(stepped_s, 6) == -7200.0
    assert watch.stepped_s(7.0, NOON + timedelta(seconds=2 - 7200)) is None


def test_a_wall_clock_that_is_slewed_makes_no_step():
    watch = WallWatch()
    # 500 ppm for a day comes to 43 s.
    for second in range(0, 86_400, 10):
        assert watch.stepped_s(second, NOON + timedelta(seconds=second * 1.0005)) is None
