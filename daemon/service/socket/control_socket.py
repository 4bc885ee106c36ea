"""The control socket's place: whose it is, and what a dead daemon left of it."""

import socket
import stat
from pathlib import Path


class SocketUnusableError(Exception):
    """The control socket cannot be had: says where and why."""


def clear(path: Path) -> None:
    """Take away what a dead daemon left at `path`, and nothing else.

    Raises `SocketUnusableError`.
    """
    try:
        mode = path.lstat().st_mode
    except FileNotFoundError:
        return
    if not stat.S_ISSOCK(mode):
        raise SocketUnusableError(f"{path}: is no socket: the control socket needs another path")
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.setblocking(False)
        try:
            probe.connect(str(path))
        except ConnectionRefusedError:
            path.unlink()
            return
        except BlockingIOError:
            pass  # so many wait that no more are taken
    raise SocketUnusableError(f"{path}: another daemon has its control socket here")
