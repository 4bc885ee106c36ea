"""The page's word for the audit: somebody has signed in, has tried to, or has signed out."""

from typing import Literal

from pydantic import Field

from daemon.api.message import PersonsAct


class SignInRequest(PersonsAct):
    """Keep it in the audit; nothing else comes of it. `refused` says why it was in vain."""

    ask: Literal["sign in", "sign out"]
    refused: str | None = Field(default=None, max_length=200)
