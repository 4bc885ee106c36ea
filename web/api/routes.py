"""Gives the API its addresses, each held against its row in the table of rights."""

from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import Any

from flask import Blueprint, Flask, Response, jsonify, render_template, request, url_for
from flask.typing import ResponseReturnValue
from flask_limiter import Limiter

from daemon.record.errors import RecordError
from web.api import asking, lines
from web.api.commands import NEVER_COUNTED, Commands
from web.api.document import ABOUT, VERSION, document
from web.api.operations import Operation
from web.api.plans import Plans
from web.api.views import Views
from web.gate.access import Access
from web.gate.protection import ACTS_A_MINUTE
from web.gate.rights import API, PREFIX, right_of
from web.problems import KINDS, of_record
from web.record import Runs
from web.tank import Tank


class Api:
    """The API, its document and its page, over one daemon, one record and one folder of plans."""

    def __init__(self, tank: Tank, runs: Runs, plans: Path, access: Access) -> None:
        self._access = access
        self._operations = (
            *Views(tank, runs).operations(),
            *Plans(plans).operations(),
            *Commands(tank).operations(),
        )

    def route(self, app: Flask, limiter: Limiter) -> None:
        """Give each operation its address, and the document and the page theirs."""
        blueprint = Blueprint(API, __name__, url_prefix=PREFIX)
        for each in self._operations:
            view = _view(each)
            if each.method == "POST" and each.name not in NEVER_COUNTED:
                view = limiter.limit(ACTS_A_MINUTE)(view)
            blueprint.add_url_rule(each.rule, each.name, view, methods=[each.method])
        blueprint.add_url_rule("/openapi.json", "document", self.document)
        blueprint.register_error_handler(RecordError, of_record)
        app.register_blueprint(blueprint)
        # A browser's cookie is worth nothing for a command here, so there is nothing to forge.
        app.extensions["csrf"].exempt(blueprint)
        app.add_url_rule("/api", "api_page", self.page)

    def document(self) -> Response:
        """Give the OpenAPI document."""
        return jsonify(self._document)

    def page(self) -> ResponseReturnValue:
        """Show the same for people to read."""
        told = self._document
        return render_template(
            "api.html",
            operations=lines.operations(told),
            shapes=lines.shapes(told),
            about=ABOUT,
            address=url_for(f"{API}.document"),
            kinds=KINDS,
            version=VERSION,
        )

    @cached_property
    def _document(self) -> dict[str, Any]:
        rights = {
            each.name: right_of(f"{API}.{each.name}", each.method) for each in self._operations
        }
        all_may_read = self._access.reading == "anyone"
        return document(self._operations, rights, all_may_read=all_may_read)


def _view(operation: Operation) -> Callable[..., Response]:
    def answer(number: str = "") -> Response:
        found = operation.view(asking.read(operation, request, number))
        return Response(found.model_dump_json(), mimetype=asking.JSON)

    # The limiter tells one from another by its name.
    answer.__name__ = answer.__qualname__ = operation.name
    return answer
