"""The run under way, held against what it was foretold. For the loop's thread."""

from daemon.control.outlook import Outlook
from daemon.control.situation import Event, Run, Situation
from daemon.control.states import OPEN
from daemon.service.rehearsal.foreteller import Foretold


def is_under_way(situation: Situation, run_id: int) -> bool:
    """Whether the run with this number is."""
    run = situation.run
    return run is not None and run.run_id == run_id and situation.state in OPEN


class HeldAgainst:
    """Keeps what the newest run was foretold."""

    def __init__(self) -> None:
        self._outlook: Outlook | None = None

    def take(self, told: Foretold, situation: Situation) -> Run | None:
        """Take what was foretold; the run that it is of, None where it came too late."""
        if not is_under_way(situation, told.run_id):
            return None
        self._outlook = told.outlook
        return situation.run

    def look(self, situation: Situation, temperature_c: float | None) -> list[Event]:
        """Hold the newest reading against it; what there is to tell."""
        outlook = self._outlook
        return [] if outlook is None else outlook.look(situation, temperature_c)

    def words(self, situation: Situation) -> str | None:
        """What of the run under way is outside of it; None while nothing is."""
        outlook = self._outlook
        if outlook is None or not is_under_way(situation, outlook.run_id):
            return None
        return outlook.words
