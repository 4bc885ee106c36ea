"""Who comes to the page, for the audit; in the journal where the daemon does not take it."""

import sys
from contextlib import suppress

from daemon.api.socket.access import AccessAct, AccessRequest
from daemon.api.socket.client import DaemonUnreachableError
from web.tank import Tank


def tell(tank: Tank, act: AccessAct, who: str, where: str, refused: str | None) -> None:
    """Have it kept that somebody came, from such a place; `refused` says why it was in vain."""
    asked = AccessRequest(ask=act, who=who, where=where, refused=refused)
    try:
        if tank.tell(asked).ok:
            return
    except DaemonUnreachableError:
        pass
    with suppress(OSError):  # nobody may listen any more
        came = "" if refused is None else f": {refused}"
        sys.stderr.write(f"tankhand: {act}, {who!r}, from {where}{came}\n")
        sys.stderr.flush()
