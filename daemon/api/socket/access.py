"""A word for the audit: somebody has signed in, or who may what has changed."""

from typing import Literal

from pydantic import Field

from daemon.api.socket.message import PersonsAct

AccessAct = Literal[
    "sign in",
    "sign out",
    "use a token",
    "make an operator",
    "give a new password",
    "remove an operator",
    "end sessions",
    "make a token",
    "revoke a token",
]
"""What the page says of those who come to it, and the command line of those whom it lets in."""


class AccessRequest(PersonsAct):
    """Keep it in the audit; nothing else comes of it.

    `about` is whom or what it is about besides `who` did it; `refused` says why it was in vain.
    """

    ask: AccessAct
    about: str = Field(default="", max_length=200)
    refused: str | None = Field(default=None, max_length=200)
