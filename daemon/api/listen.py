"""Where the page listens, and by which names it may be called."""

import ipaddress
from dataclasses import dataclass


class ListenError(Exception):
    """The address to listen on is unreadable or not allowed: says what came and what is."""


@dataclass(frozen=True, slots=True)
class Listen:
    """A loopback name or IPv4 address, and a port."""

    host: str
    port: int

    @property
    def trusted_hosts(self) -> list[str]:
        """The names by which a browser on this machine may call the page (stops DNS rebinding)."""
        return sorted({"localhost", "127.0.0.1", self.host})


def parse_listen(text: str) -> Listen:
    """Read HOST:PORT, for example `127.0.0.1:8080` or `localhost:8080`.

    Raises `ListenError`. Only loopback is allowed: whoever reaches the page can act on the tank,
    so that opening it to a network has to wait for an operator's password. An IPv6 address is
    refused, since the check of host names cannot hold one; `localhost` serves both.
    """
    host, colon, port = text.rpartition(":")
    if not colon or not host or not (port.isdecimal() and port.isascii()):
        raise ListenError(f"listen: {text!r} is not HOST:PORT, for example 127.0.0.1:8080")
    if not 0 < int(port) < 65536:
        raise ListenError(f"listen: port {port} in {text!r}: 1 to 65535 are allowed")
    if not _is_loopback(host):
        raise ListenError(
            f"listen: {host} in {text!r}: only loopback is allowed (127.0.0.1, localhost), since "
            "there is no operator's password yet"
        )
    return Listen(host, int(port))


def _is_loopback(host: str) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.IPv4Address(host).is_loopback
    except ValueError:
        return False
