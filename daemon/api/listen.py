"""Where the page listens, by which names it may be called, and who has to be there for that."""

import ipaddress
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from daemon.access.errors import UnreadableError

EVERY_ADDRESS = "0.0.0.0"  # noqa: S104 - compared with, never listened on without an operator
NEEDS_AN_OPERATOR = (
    "is for others than this machine, and there is no operator yet: make one with "
    "`tankhand operator add NAME`, or listen on 127.0.0.1"
)

_NAME = re.compile(r"[a-z0-9]([a-z0-9-]*[a-z0-9])?(\.[a-z0-9]([a-z0-9-]*[a-z0-9])?)*", re.ASCII)


class ListenError(Exception):
    """What is said about listening cannot be used: says what came and what is allowed."""


@dataclass(frozen=True, slots=True)
class Listen:
    """A name or IPv4 address, and a port.

    hosts: by which other names and addresses browsers call the page. proxy: the address of a
    reverse proxy that is believed when it says for whom it asks, and whether over TLS.
    """

    host: str
    port: int
    hosts: tuple[str, ...] = ()
    proxy: str | None = None

    @property
    def trusted_hosts(self) -> list[str]:
        """The names by which a browser may call the page (stops DNS rebinding)."""
        own = set() if self.host == EVERY_ADDRESS else {self.host}
        return sorted({"localhost", "127.0.0.1", *self.hosts} | own)

    @property
    def only_this_machine(self) -> bool:
        """Whether nobody can reach it but who is on this machine."""
        return is_loopback(self.host) and not self.hosts and self.proxy is None

    def check_operator(self, known: Callable[[], Sequence[object]]) -> None:
        """See that there is an operator among those `known`, if this needs one.

        Raises `ListenError`. Where they cannot be read there may be one.
        """
        if self.only_this_machine:
            return
        try:
            has_none = not known()
        except UnreadableError:
            return
        if has_none:
            raise ListenError(f"listen: {self.said} {NEEDS_AN_OPERATOR}")

    @property
    def said(self) -> str:
        """The address, and with it what makes it one for others, if that is not itself."""
        if is_loopback(self.host) and not self.only_this_machine:
            return f"{self.host}:{self.port} with hosts or a proxy"
        return f"{self.host}:{self.port}"


def parse_listen(text: str, hosts: Iterable[str] = (), proxy: str | None = None) -> Listen:
    """Read HOST:PORT, for example `127.0.0.1:8080` or `tank.lan:8080`, and what goes with it.

    Raises `ListenError`. An IPv6 address is refused, since the check of host names cannot hold one;
    `localhost` serves both. 0.0.0.0 is every address of this machine, and has to be told its names.
    """
    host, colon, port = text.rpartition(":")
    if not colon or not host or not (port.isdecimal() and port.isascii()):
        raise ListenError(f"listen: {text!r} is not HOST:PORT, for example 127.0.0.1:8080")
    if not 0 < int(port) < 65536:
        raise ListenError(f"listen: port {port} in {text!r}: 1 to 65535 are allowed")
    if not _NAME.fullmatch(host):
        raise ListenError(
            f"listen: {host} in {text!r}: expected an IPv4 address or a name in small letters, for "
            "example 127.0.0.1"
        )
    names = tuple(hosts)
    for name in names:
        if not _NAME.fullmatch(name) or name == EVERY_ADDRESS:
            raise ListenError(
                f"hosts: {name!r} is no name or IPv4 address in small letters, without port, for "
                'example "tank.lan"'
            )
    if host == EVERY_ADDRESS and not names:
        raise ListenError(
            f"hosts: {text} listens on every address of this machine: say by which names and "
            'addresses browsers call it, for example hosts = ["192.168.1.7"]'
        )
    return Listen(host, int(port), names, None if proxy is None else _address(proxy))


def is_loopback(host: str) -> bool:
    """Whether this name or IPv4 address is of this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.IPv4Address(host).is_loopback
    except ValueError:
        return False


def _address(proxy: str) -> str:
    try:
        return str(ipaddress.IPv4Address(proxy))
    except ValueError as error:
        raise ListenError(
            f'proxy: {proxy!r} is no IPv4 address, for example "127.0.0.1"'
        ) from error
