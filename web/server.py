"""The server's own bounds on what is sent to it, which hold before the app sees any of it."""

import socket
from collections.abc import Callable
from copy import copy
from typing import Any

from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.server import TcpWSGIServer

from web.gate.protection import FILE_LIMIT_BYTES, TAKES_A_FILE

BODY_LIMIT_BYTES = 65_536
"""Above the app's own limit, so that a body too large gets the app's answer in words."""

CONNECTIONS_OF_ONE = 40
"""That one address may hold of all that the server takes. A browser keeps six at most to one server
(common practice), and a household has a few."""

OWN = frozenset({"127.0.0.1", "::1"})
"""This machine's own addresses, from where a reverse proxy brings everybody."""


class BoundedParser(HTTPRequestParser):  # type: ignore[misc]  # the server comes without types
    """Takes a large body only with the form that may hold a file, sent by our own page.

    And only of who may send one, by the cookies. The server lays a body down on the disk before it
    asks the app: nobody else's may be large.
    """

    adj: Any
    may_upload: Callable[[str], bool]

    def parse_header(self, header_plus: bytes) -> None:
        """Parse the head, which says what is sent and from where."""
        super().parse_header(header_plus)
        host = self.headers.get("HOST", "")
        own = self.headers.get("ORIGIN") in (f"http://{host}", f"https://{host}")
        if self.path == TAKES_A_FILE and own and self.may_upload(self.headers.get("COOKIE", "")):
            self.adj = copy(self.adj)
            self.adj.max_request_body_size = FILE_LIMIT_BYTES


def bound_bodies(may_upload: Callable[[str], bool]) -> None:
    """Have every server of this process read requests so.

    `may_upload` tells by a request's header of cookies whether it may have a large body.
    """
    ours = type("OurParser", (BoundedParser,), {"may_upload": staticmethod(may_upload)})
    HTTPChannel.parser_class = ours


def share_connections(proxy: str | None) -> None:
    """Have every server of this process give one address no more than its share of connections.

    What comes beyond is closed unheard, so that whoever holds many keeps nobody else out. A reverse
    proxy at the address `proxy`, like this machine itself, may hold as many as there are.
    """
    unbounded = OWN if proxy is None else OWN | {proxy}

    def take(
        server: Any, connection: socket.socket, address: tuple[Any, ...], adj: Any, **more: Any
    ) -> None:
        host = address[0]
        held = sum(channel.addr[0] == host for channel in server.active_channels.values())
        if held >= CONNECTIONS_OF_ONE and host not in unbounded:
            connection.close()
        else:
            HTTPChannel(server, connection, address, adj, **more)

    TcpWSGIServer.channel_class = staticmethod(take)


def believing(proxy: str | None) -> dict[str, Any]:
    """The server's settings for a reverse proxy at this address, the only one that is believed.

    Without one nothing believes what such headers say, and they are left for the app to see.
    """
    if proxy is None:
        return {"clear_untrusted_proxy_headers": False}
    return {
        "trusted_proxy": proxy,
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
