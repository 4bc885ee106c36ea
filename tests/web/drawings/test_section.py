"""The ruler under the drawn deposit."""

import pytest

from daemon.api.socket.messages import RunStatus
from web.drawings.section import marks, share


@pytest.mark.parametrize(
    ("target_um", "labels"),
    [
        (25.0, ["0", "5", "10", "15", "20", "25"]),
        (5.0, ["0", "1", "2", "3", "4", "5"]),
        (15.0, ["0", "2", "4", "6", "8", "10", "12", "14", "16"]),
        (100.0, ["0", "20", "40", "60", "80", "100"]),
        (0.5, ["0", "0.1", "0.2", "0.3", "0.4", "0.5"]),
        (1200.0, ["0", "200", "400", "600", "800", "1000", "1200"]),
    ],
)
def test_marks_are_round_and_reach_the_target(
    run: RunStatus, target_um: float, labels: list[str]
) -> None:
    drawn = marks(run.model_copy(update={"target_um": target_um}))
    assert [mark.label for mark in drawn] == labels
    assert all(0 <= mark.at <= 1 for mark in drawn)


def test_the_drawing_is_to_scale(run: RunStatus) -> None:
    at = {mark.label: mark.at for mark in marks(run)}
    assert share(10.0, run) == pytest.approx(at["10"])
    assert share(20.0, run) == pytest.approx(2 * share(10.0, run))
    assert share(25.0, run) < 1


def test_a_deposit_past_the_drawing_ends_at_its_edge(run: RunStatus) -> None:
    assert share(1000.0, run) == 1
