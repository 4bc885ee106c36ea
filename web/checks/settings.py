"""The settings that the daemon runs by, to read: they are changed in their file."""

from flask import Flask, render_template
from flask.typing import ResponseReturnValue

from daemon.api.socket.client import DaemonUnreachableError
from web.tank import Tank
from web.text import NO_SETTINGS
from web.trouble import show

FOLDED_FROM = 20
"""So many settings that hold by default are folded away: nobody reads ninety thresholds to find the
one that was changed."""


class SettingsPage:
    """The view, over one daemon."""

    def __init__(self, tank: Tank) -> None:
        self._tank = tank

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/settings", "settings", self.page)

    def page(self) -> ResponseReturnValue:
        """Show all settings in force; 503 without a daemon, who alone knows them."""
        try:
            seen = self._tank.settings()
        except DaemonUnreachableError:
            return show(NO_SETTINGS, 503)
        return render_template("settings.html", seen=seen, folded_from=FOLDED_FROM)
