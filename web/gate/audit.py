"""The audit: who asked for what, from where and when, and why it was refused if it was."""

from flask import Flask, render_template
from flask.typing import ResponseReturnValue

from daemon.record.errors import RecordError
from web.listing import A_PAGE, page_token, unreadable
from web.record import Runs
from web.times import stamp, zone_name


class AuditPage:
    """The view, over one record."""

    def __init__(self, runs: Runs) -> None:
        self._runs = runs

    def route(self, app: Flask) -> None:
        """Give the view its address."""
        app.add_url_rule("/audit", "audit", self.page)

    def page(self) -> ResponseReturnValue:
        """List acts, newest first; with `before` in the query those before that entry."""
        before = page_token()
        try:
            found = self._runs.audit(A_PAGE + 1, before)
        except RecordError as error:
            return unreadable(error)
        return render_template(
            "audit.html",
            entries=[(entry.id, stamp(entry.act.utc_ms), entry.act) for entry in found[:A_PAGE]],
            older=found[A_PAGE - 1].id if len(found) > A_PAGE else None,
            before=before,
            zone=zone_name(),
        )
