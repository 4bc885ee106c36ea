"""The cause and effect table as the daemon runs by it: what each cause brings about."""

from flask import Flask, render_template
from flask.typing import ResponseReturnValue

from daemon.api.socket.client import DaemonUnreachableError
from web.tank import Tank
from web.text import NO_EFFECTS
from web.trouble import show

CATEGORIES = {"hold": "category 1", "stop": "category 1", "abort": "category 0"}
"""Stop categories of IEC 60204-1: 1 brings the current down, then takes it away; 0 does not wait.
"""


class EffectsPage:
    """The view, over one daemon."""

    def __init__(self, tank: Tank) -> None:
        self._tank = tank

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/effects", "effects", self.page)

    def page(self) -> ResponseReturnValue:
        """Show the table; 503 without a daemon, whose table it is."""
        try:
            rows = self._tank.effects()
        except DaemonUnreachableError:
            return show(NO_EFFECTS, 503)
        return render_template("effects.html", rows=rows, categories=CATEGORIES)
