"""Machines that use the API: which token each one shows, and whether it may do what it asks.

A token is 256 random bits, so no number of attempts finds one. They are limited by address all the
same, so that a program with a wrong one is heard of, and not by all addresses together: machines
with an old token must not keep the others out.
"""

import math
import time
from collections.abc import Mapping

from flask import Request, g, request

from daemon.access.errors import UnreadableError
from daemon.access.tokens import Token, TokenRight, Tokens
from web.gate.attempts import Attempts
from web.gate.rights import Right
from web.gate.told import tell
from web.problems import NO_ACCESS, NO_RIGHT, TOO_MANY, WRONG_TOKEN, ProblemError
from web.tank import Tank

MAY: Mapping[TokenRight, frozenset[Right]] = {
    "read": frozenset({Right.ANYONE, Right.READ}),
    "acknowledge": frozenset({Right.ANYONE, Right.READ, Right.ACKNOWLEDGE}),
    "command": frozenset(Right),
}
"""What a token's right holds of the page's table."""

WORTHLESS = "a token that was never made here, has been revoked, or is over"


def shown(asked: Request) -> str | None:
    """The token in the header that is there for it (RFC 6750, 2.1); None without one.

    No browser sends it by itself, and none lets another site's page send it unless we say so.
    """
    scheme, _, token = asked.headers.get("Authorization", "").partition(" ")
    return token.strip() if scheme.lower() == "bearer" else None


class Bearers:
    """The tokens of one page. `tank` is told of those that are worth nothing."""

    def __init__(self, tokens: Tokens, tank: Tank) -> None:
        self._tokens = tokens
        self._tank = tank
        self._attempts = Attempts(time.monotonic)

    def token(self) -> Token | None:
        """The token of who asks; None without one, and for one that is worth nothing.

        For what needs no right: nothing is refused, counted or told.
        """
        if "token" not in g:
            g.token = self._find()
        found: Token | None = g.token
        return found

    def need(self, right: Right) -> None:
        """Refuse a request whose token does not hold this right. Raises `ProblemError`."""
        where = str(request.remote_addr)
        wait_s = self._attempts.wait_s(where)
        if wait_s > 0:
            raise ProblemError(TOO_MANY, headers={"Retry-After": str(math.ceil(wait_s))})
        try:
            found = self._known()
        except UnreadableError as error:
            raise ProblemError(NO_ACCESS, f"{error}.") from error
        if found is None:
            self._attempts.failed(where)
            tell(self._tank, "use a token", "somebody", f"API, {where}", WORTHLESS)
            raise ProblemError(WRONG_TOKEN)
        g.token = found
        if right not in MAY[found.right]:
            raise ProblemError(
                NO_RIGHT, f"The token {found.name!r} may {found.right}. Nothing was done."
            )

    def _find(self) -> Token | None:
        try:
            return self._known()
        except UnreadableError:
            return None

    def _known(self) -> Token | None:
        token = shown(request)
        return None if token is None else self._tokens.find(token, time.time_ns() // 1_000_000)
