"""The settings that the daemon runs by, and whether the file still says so."""

from pathlib import Path

from daemon.api.errors import InputError
from daemon.api.socket.settings import SettingsSeen
from daemon.service.settings.file import Settings, read_settings
from daemon.service.settings.listed import listed


class InForce:
    """What was read from `path` at the start. Safe to ask from any thread."""

    def __init__(self, path: Path, settings: Settings) -> None:
        self._path = path.absolute()
        self._settings = settings

    def seen(self) -> SettingsSeen:
        """The settings as they are shown, and what the file says by now."""
        tables, absent = listed(self._settings)
        wrong: tuple[str, ...] = ()
        try:
            changed = read_settings(self._path) != self._settings
        except InputError as error:
            changed, wrong = True, error.problems
        return SettingsSeen(
            path=str(self._path),
            tables=tables,
            absent=absent,
            changed=changed,
            wrong=wrong,
        )
