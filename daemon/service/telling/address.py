"""An address that messages are sent to, by Apprise. It is a secret: nothing here shows it."""

from __future__ import annotations

import logging
import re
from http import HTTPStatus
from typing import TYPE_CHECKING

from daemon.control.protection.causes import Priority
from daemon.service.telling.recipients import Letter

if TYPE_CHECKING:  # it takes its time and memory, and most commands send nothing
    from apprise import Apprise, AppriseResult

_REASONS = (
    (re.compile(r"NameResolution|getaddrinfo|name resolution|Name or service", re.IGNORECASE),
     "the name of its host is not known"),
    (re.compile(r"connection refused", re.IGNORECASE), "connection refused"),
    (re.compile(r"certificate|SSL", re.IGNORECASE), "no trusted encrypted connection"),
    (re.compile(r"unreachable|no route", re.IGNORECASE), "no way to its network"),
    (re.compile(r"reset by peer|aborted|closed connection|disconnected|broken pipe", re.IGNORECASE),
     "the connection was broken off"),
    (re.compile(r"timed? ?out", re.IGNORECASE), "no answer in time"),
)  # fmt: skip
"""What stands in the library's log, and what is said of it. Its own texts may hold the address."""

_HTTP = re.compile(r"\berror=(\d{3})\b")

_KIND = {Priority.HIGH: "failure", Priority.MEDIUM: "warning", Priority.LOW: "warning"}


class AddressError(Exception):
    """An address that nothing can be sent to. The text does not show it."""


class Address:
    """Somewhere to send messages to. Loads Apprise, which takes a good part of a second.

    `timeout_s` is how long a connection and each answer may take, real s. Raises AddressError.
    """

    def __init__(self, text: str, timeout_s: float) -> None:
        self._apprise = _opened(text, timeout_s)

    def send(self, letter: Letter) -> str | None:
        """Send a message; None when it was taken, else why not. Waits as long as that takes."""
        kind = "info" if letter.priority is None else _KIND[letter.priority]
        try:
            result = self._apprise.notify(
                title=letter.title,
                body=letter.body,
                body_format="text",
                notify_type=kind,
                log_level=logging.DEBUG,
            )
        except Exception as error:
            # Whatever one of a hundred services' senders raises, the thread has to live on, and
            # the error's text might show the address.
            return f"its sender failed with {type(error).__name__}"
        return _reason(result)


def _opened(text: str, timeout_s: float) -> Apprise:
    import apprise
    import urllib3

    # Its log has addresses. It is read for the reason of a failure, and goes nowhere else.
    logging.getLogger("apprise").setLevel(logging.DEBUG)
    for name in ("apprise", "urllib3"):
        logging.getLogger(name).propagate = False
    urllib3.disable_warnings()
    asset = apprise.AppriseAsset(
        app_id="tankhand",
        app_desc="tankhand",
        app_url="",
        image_url_mask="",
        image_url_logo="",
        image_path_mask=False,
        # Ours is the thread that waits; its own would hold up the end of the process.
        service_timeout=0,
    )
    service = apprise.Apprise.instantiate(text, asset=asset)
    if service is None:
        raise AddressError(
            "nothing can be sent there: its kind, before ://, is not known, or what follows is "
            "not whole"
        )
    service.socket_connect_timeout = timeout_s
    service.socket_read_timeout = timeout_s
    found = apprise.Apprise(asset=asset)
    found.add(service)
    return found


def _reason(result: AppriseResult) -> str | None:
    """Why it did not get through. An address that calls itself optional is none here."""
    taken = [any(bool(attempt) for attempt in service) for service in result]
    if taken and all(taken):
        return None
    said = "\n".join(str(entry) for entry in result.logs())
    refused = _HTTP.search(said)
    if refused is not None:
        return f"refused with HTTP {refused[1]}{_phrase(int(refused[1]))}"
    for pattern, reason in _REASONS:
        if pattern.search(said):
            return reason
    return "it was not taken; nothing more is known"


def _phrase(code: int) -> str:
    try:
        return f" ({HTTPStatus(code).phrase})"
    except ValueError:
        return ""
