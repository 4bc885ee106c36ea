"""The server's own bounds on what is sent to it, which hold before the app sees any of it."""

from copy import copy
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser

from web.protection import FILE_LIMIT_BYTES, TAKES_A_FILE

BODY_LIMIT_BYTES = 65_536
"""Above the app's own limit, so that a body too large gets the app's answer in words."""


class BoundedParser(HTTPRequestParser):  # type: ignore[misc]  # the server comes without types
    """Takes a large body only with the form that may hold a file, sent by our own page.

    The server lays a body down on the disk before it asks the app: nobody else's may be large.
    """

    adj: Any

    def parse_header(self, header_plus: bytes) -> None:
        """Parse the head, which says what is sent and from where."""
        super().parse_header(header_plus)
        own = f"http://{self.headers.get('HOST', '')}"
        if self.path == TAKES_A_FILE and self.headers.get("ORIGIN") == own:
            self.adj = copy(self.adj)
            self.adj.max_request_body_size = FILE_LIMIT_BYTES


def bound_bodies() -> None:
    """Have every server of this process read requests so."""
    HTTPChannel.parser_class = BoundedParser
