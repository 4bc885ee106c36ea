"""The settings that a daemon runs by, as they go over the control socket."""

from daemon.api.socket.message import Message


class SettingSeen(Message):
    """One setting: its key in the file, its value with its unit, and what it is, if that is told.

    `given` marks what stands in the file; all else holds by default. What is secret has no value
    here but the word for that.
    """

    key: str
    value: str
    given: bool
    about: str = ""


class SettingsTable(Message):
    """A table of the settings file: its head, such as `[loop]`, and the name of its thing, if any.

    `unset` are keys that may be given, are not, and have no default.
    """

    head: str
    name: str = ""
    rows: tuple[SettingSeen, ...] = ()
    unset: tuple[str, ...] = ()


class SettingsSeen(Message):
    """All settings in force, and how it is with the file at `path` since the daemon has read it.

    `absent` are the heads of tables that are not there. `changed`: the file says something else
    now. `wrong`: why no daemon would start with it as it is now, one problem a line.
    """

    path: str
    tables: tuple[SettingsTable, ...]
    absent: tuple[str, ...] = ()
    changed: bool = False
    wrong: tuple[str, ...] = ()
